//! Codes of prices and money.

codes! {
    "Prices and money", Job;

    PRICES_APPLICATION "prices.application" [Note]
        "The job gives no cost of the pass, so it counts as 0."
        "The gain over no nitrogen is then too high by the cost of one pass. Write prices.application.";
    PRICES_RATIO "prices.ratio" [Caution]
        "The price of nitrogen in grain is far from the usual 2 to 15 kg of grain for a kg N."
        "Below 0.5 or above 60 a price is likely in another unit (common practice, no source). Check both prices, their units, and whether nitrogen or product is priced.";
    MONEY_NONE "money.none" [Note]
        "The method predicts no yield, so no gain can be computed from the prices."
        "Methods that work by sufficiency give a rate and no yield. Choose a method with a yield curve if you want the money.";
    MONEY_LOSS "money.loss" [Caution]
        "At these prices the map costs more than its grain brings."
        "Applying nothing would be cheaper. Prices never move a rate unless an economic optimum is asked for, so the decision is yours.";
    MONEY_FLAT "money.flat" [Note]
        "At these prices one flat rate earns more than the map, image and map included."
        "The message names the flat rate and the difference. On even fields a flat rate often does as well.";
}
