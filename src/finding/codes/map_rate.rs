//! Codes of checking a map: its rates.

codes! {
    "Checked maps: rates", Map;

    RATE_COLUMN "rate.column" [Stop]
        "It is unclear which column holds the rate."
        "Several columns may hold it, none does, or the one you named is missing. Choose it with --rate-column.";
    RATE_COLUMNS "rate.columns" [Note]
        "Several columns hold rates; the message says which is read."
        "An operator has to choose the same one on the screen. Choose with --rate-column, and leave one rate column in the file for the machine.";
    RATE_COLUMN_GUESSED "rate.column_guessed" [Caution]
        "The only column of numbers is read as the rate, though its name does not say so."
        "It may be an index, a yield or a class. Choose it with --rate-column if it is right, and name it by its unit.";
    RATE_MISSING "rate.missing" [Stop]
        "A zone has no rate."
        "A controller then keeps the last rate or stops. Enter a rate, 0 if nothing is due.";
    RATE_NOT_FINITE "rate.not_finite" [Stop]
        "A rate is infinite or not a number."
        "It comes from a division by 0 or a missing value. Enter a number.";
    RATE_TEXT "rate.text" [Caution, Stop]
        "A rate is stored as text."
        "Some controllers read text as 0. If the text is no number it stops. Store the column as numbers with a decimal point.";
    RATE_NEGATIVE "rate.negative" [Stop]
        "A rate is negative."
        "No machine takes product up. Enter 0 or more.";
    RATE_ABOVE "rate.above" [Stop]
        "A rate is above the maximum that you gave."
        "The machine cannot apply it, or it breaks the limit you set. Check unit and substance first, then limit the rate.";
    RATE_IMPLAUSIBLE "rate.implausible" [Caution, Stop]
        "A rate is higher than any that the product is applied at."
        "Usually the unit is wrong: lb/ac for kg/ha, gallons for litres, or product for nitrogen. It stops beyond what any fertiliser is applied at, or above 250 kg N/ha of the product named (common practice, no source). For lime, manure or slurry allow it with the option for the maximum rate.";
    RATE_BELOW "rate.below" [Caution]
        "A rate is above 0 and below the minimum that you gave."
        "The machine applies 0 or its minimum there. Decide which, and write that.";
    RATE_NITROGEN_LIMIT "rate.nitrogen_limit" [Stop]
        "A rate holds more nitrogen than the limit that you gave."
        "Legal limits count per field and season. Check product and unit first, then limit the rate.";
    RATE_ALL_ZERO "rate.all_zero" [Caution]
        "Every rate is 0."
        "Nothing would be applied. The wrong column was chosen, or the export lost the rates.";
}
