//! Codes of rates.

codes! {
    "Rates", Job;

    RATE_USUAL "rate.usual" [Caution, Stop]
        "The mean rate lies outside half to one and a half times the usual rate."
        "A slip of a unit or a faulty strip shows here first (half to one and a half: own rule). Check strip, method and units. It stops only where rate.usual_is_this_pass says that the usual rate is the one in question; a season's total or a rate of other years is a comparison.";
    RATE_DIRECTION "rate.direction" [Note]
        "Which ground gets more: paler or greener."
        "Comparing each cell with the strip gives paler ground more; one ratio for the whole field gives greener ground more. Both are in use, and they turn the map round, so read this line first.";
    RATE_RAW "rate.raw" [Note]
        "Response indices are used as measured, without an adjustment towards yield."
        "Some published procedures adjust the ratio of indices by a line before use. Only response.ratio_adjustment does so here.";
    RATE_ADJUSTED "rate.adjusted" [Note]
        "Response indices are adjusted by the line in the job, before they are limited."
        "The adjustment has a large effect on rates. Use the numbers published for your crop and index, once.";
    RATE_AT_MAXIMUM "rate.at_maximum" [Caution, Stop]
        "More than half of the canopy reaches the maximum yield without more nitrogen."
        "By the curve nothing is left to gain there, so it gets nothing. Above 90 % it stops, since such a map says nothing of the crop (own rule). Usual reasons are a maximum yield in the wrong unit or too low, or a wrong number of growing days.";
    RATE_FAR_BELOW "rate.far_below" [Caution]
        "By the curve the canopy yields less than a tenth of the maximum yield."
        "That is no crop worth a dressing, or a wrong unit (a tenth: common practice, no source). Check the maximum yield, the curve and growing days.";
    RATE_CAPPED "rate.capped" [Note, Caution]
        "A yield of the flat rate is limited to the maximum yield."
        "When the yield without more nitrogen reaches it, no response is left and the rate is 0: a caution. When only the yield with nitrogen reaches it, the rate is smaller than the ratio alone would give: a note.";
    RATE_SEASON "rate.season" [Note]
        "The season's limit leaves less than the maximum rate."
        "What was applied before and since sensing is subtracted from rate.season_limit, and the rest is the maximum rate. Check the amounts; legal limits come first.";
    RATE_SEASON_HELD "rate.season_held" [Caution]
        "The crop asks for more than the season's limit leaves."
        "Rates are limited to what is left. Part of the field then stays short of nitrogen by the method; the limit stands where it is law.";
    RATE_PRODUCT_AMOUNT "rate.product_amount" [Note]
        "An amount of product was read as nitrogen by the product's content."
        "Both amounts are in the message. Confusing them is a factor of two to four, so compare them with what you meant.";
    RATE_THIN "rate.thin" [Note]
        "Part of the field has a poor stand, and lack of nitrogen is not the likely reason."
        "The index there lies between bare soil and a fair canopy. It gets the rate in rate.thin, the field rate unless stated. Walk there: winter kill, wet ground, pests or missed seed.";
    RATE_BEYOND "rate.beyond" [Note, Caution]
        "Part of the canopy asks for a higher response index than the strip supports, and is limited."
        "Ground paler than anything the strip shows may lack nitrogen, or water, or plants. The limit withholds what no strip proves; area and amount are in the message. Walk there, and lay the next strip across it.";
    RATE_SHARE "rate.share" [Note, Caution]
        "How much of the canopy's index deficit is lack of nitrogen, by what varies inside the strip."
        "Nitrogen is ample in the strip, so what still varies there is soil, water or stand. It is a caution below one half (own rule, checked on made fields), where the ways of sharing the nitrogen differ in total or gain. Then prefer the measured share, or one flat rate.";
    RATE_SHARE_UNKNOWN "rate.share_unknown" [Note]
        "How much of the index deficit is lack of nitrogen could not be measured."
        "It takes a strip of at least eight cells in length and enough other places of its shape in the field. The message says what is missing. Longer strips give it next season.";
    RATE_FLAT_BETTER "rate.flat_better" [Caution]
        "One flat rate is expected to earn more than the map."
        "Differences of the canopy that are not nitrogen make a variable rate spend in the wrong places. The message names the flat rate and the expected gain. It is often the better choice on even fields.";
    RATE_BESIDE_EXCLUSION "rate.beside_exclusion" [Caution]
        "The highest rates crowd around water, holes or other exclusions."
        "Pale crop next to them is more often wet or shaded than short of nitrogen, and product there is lost first. Ground of the highest tenth of rates lies within two working widths of an exclusion more than twice as often as the field does (own rule). Walk it first; widen the exclusion's buffer.";
    RATE_NOISE "rate.noise" [Caution]
        "Noise of the index from cell to cell makes more than 5 % of the nitrogen."
        "Rates cannot be negative, so noise around sufficiency adds nitrogen and never takes any off (5 %: own rule). Use larger cells, a smoother image, or one rate where the crop is nearly sufficient.";
    RATE_ONE_STEP "rate.one_step" [Note]
        "Nearly all rates lie between 0 and one step, so the map has hardly more than two rates."
        "Rounding to the step hides the differences that the image shows. The message names a step that shows them; the machine must be able to follow it.";
    RATE_MAXIMUM_STEP "rate.maximum_step" [Note]
        "Rates were changed so that they step no more than the job allows along the drive."
        "Machines follow slow changes better. Cells changed and the nitrogen moved are in the message.";
    RATE_BY_HAND "rate.by_hand" [Note, Caution]
        "Part of the ground has its rate set by hand, with the reason in the job."
        "Rates of rate.set stand in place of the map's own; area, nitrogen before and after and the reason are in the message. Poor stands, bare soil and ground without image are only ever lowered: nothing measured says that more helps there. It is a caution where nitrogen is added.";
    RATE_BY_HAND_APART "rate.by_hand_apart" [Caution]
        "No cell of the field lies in ground whose rate is set by hand."
        "A cell counts when more than half of it lies in the shape. Check the file, its reference system, and whether a later table of rate.set covers the same ground.";
    RATE_BY_HAND_OVERLAP "rate.by_hand_overlap" [Caution]
        "Ground lies in more than one shape whose rate is set by hand."
        "Only the last in the job counts there; rates are not added up. Draw the shapes apart, or put the one that shall count last.";
    APPLICATION_BEFORE "application.before" [Caution]
        "The planned application lies before the date of the image."
        "One of the dates is wrong, or the map comes after the work. Check application.date and imagery.date.";
}
