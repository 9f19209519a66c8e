//! Codes of point readings.

codes! {
    "Point readings", Job;

    POINTS_USED "points.used" [Note]
        "How many readings count, and why the others do not."
        "Readings outside the field, at the wrong speed, unlike their neighbours or without place or index are dropped, each counted. When many of one kind are missing, look at that step: the wrong column, the wrong unit of speed, or the wrong reference system.";
    POINTS_MISSING "points.missing" [Caution]
        "More than a tenth of the rows of the file are no readings."
        "Rows without place, without index or with an impossible index come from a sensor that lost its position or its sight of the crop (10 %: own rule). Look at the sensor's log and at where the gaps lie.";
    POINTS_OUTLIERS "points.outliers" [Caution]
        "More than 5 % of the readings were dropped as unlike their neighbours."
        "A few are normal: a bump, a track, a turn. More than 5 % (own rule) may be the truth, such as rows of another variety. points.outliers = 0 keeps them all; compare the totals of both runs.";
    POINTS_UNEVEN "points.uneven" [Caution]
        "More than a quarter of the readings are unlike their neighbours, so none was dropped."
        "When so many differ there is no telling which are wrong. The sensor may have failed, or the column may hold something else than an index. Plot the readings before you go on.";
    POINTS_TIME "points.time" [Caution]
        "Readings have no time and are taken in the order of the file."
        "Passes and turns are found by time. In a sorted or joined file the order is not the order of driving, and turns may be taken for passes. Name the column with points.time, or the column of the pass with points.pass.";
    POINTS_GAPS "points.gaps" [Note]
        "Cells have too few readings near them and count as no image."
        "Each gets the rate that the job states in rate.unseen. Gaps between passes wider than the swath are usual at headlands and obstacles; elsewhere drive closer.";
    POINTS_FEW "points.few" [Caution]
        "There are fewer than 100 canopy readings, which is few for a variogram."
        "A variogram of fewer than about 100 points is a guess (common practice in geostatistics). Use estimate = \"mean\", or take more readings.";
    POINTS_VARIOGRAM "points.variogram" [Note]
        "The variogram that cells are kriged with."
        "Nugget is the variance of two readings side by side, sill that of readings far apart, range the distance up to which readings resemble each other. A range of several swaths is good; a nugget near the sill means that kriging adds nothing over a mean.";
    POINTS_VARIOGRAM_POOR "points.variogram_poor" [Caution]
        "The variogram fits the readings poorly."
        "More than 90 % nugget, a range beyond the distances that it was fitted to, or less than half of the variance explained (own rules). Estimates are still weighted means, but their standard errors mean little. Prefer estimate = \"mean\".";
    POINTS_STANDARD_ERROR "points.standard_error" [Caution]
        "Standard errors do not match the misses at readings left out."
        "Readings are left out one by one and estimated from the rest. The variance of the misses should equal the stated one; outside half to twice of it (own rule) the column index_se is wrong by the factor in the message. The index itself is not affected.";
}
