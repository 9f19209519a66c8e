//! Codes of season and weather.

codes! {
    "Season and weather", Job;

    SEASON_PLANTED "season.planted" [Caution]
        "The new job needs the planting date before growing days can be counted."
        "Yield curves divide the index by the growing days since planting. Write season.planted, or season.growing_days if you counted them yourself.";
    SEASON_EARLY "season.early" [Stop]
        "Fewer than 60 growing days since planting: too early to see a response."
        "Growing days are days warm enough for the crop to grow, not summed degrees. Before about 60 of them (common practice, no source) strip and field look alike whatever they got. Sense again later.";
    SEASON_WINDOW "season.window" [Caution]
        "Growing days lie outside the window where the index predicts yield best."
        "The window stands in the crop's row of the shipped table, for winter wheat 87 to 112 days. Outside it the same index means another yield. Sense within the window if you can.";
    SEASON_LATE "season.late" [Caution]
        "More than 120 growing days: later than the yield curve was made for."
        "Near heading the index no longer follows the yield in the same way (120: common practice, no source). The rates are extrapolated. Late nitrogen serves protein more than yield; ask an adviser.";
    SEASON_ESTIMATE "season.estimate" [Caution]
        "The in-season estimate lies outside 0.002 to 0.010 a day, beyond the data of yield curves."
        "It is the index divided by growing days (common practice, no source). Beyond that range the curve is stretched. Usual reasons are a wrong number of growing days or an index in per cent.";
    WEATHER_STATION "weather.station" [Note]
        "The weather station that was used, and its distance from the field."
        "Growing days come from daily minimum and maximum temperatures of that station. A record from the farm itself is better.";
    WEATHER_FAR "weather.far" [Caution]
        "The weather station is more than 30 km from the field."
        "Temperature differs over such a distance, more so in hills (30 km: common practice, no source). A few growing days more or fewer shift the yield curve. Compare with a record taken nearer.";
    WEATHER_FILLED "weather.filled" [Caution]
        "Missing days were taken from another station."
        "The days are in the message. It matters little for a few days and more when a whole week near the crop's base temperature is missing.";
    WEATHER_LEFT_OUT "weather.left_out" [Caution, Stop]
        "Days of the season are in no record and count as no growing days."
        "Each one may be a growing day, so the true number lies in the range stated. More than a tenth of the season stops (own rule), since yields move by about as much. Fill the record, or give season.growing_days.";
    WEATHER_LAST_DAY "weather.last_day" [Caution]
        "The sensing day is counted although its record may not be complete."
        "It is the last day of the record; a day that was not over has no true minimum and maximum yet. Set season.count_sensing_day = false, or fetch the record again.";
    WEATHER_MISSING "weather.missing" [Note]
        "Days of the record have no minimum or maximum temperature."
        "They are treated as missing days, by the rule in season.missing_days. Look whether the export lost a column.";
}
