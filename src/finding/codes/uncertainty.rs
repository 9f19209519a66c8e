//! Codes of the uncertainty of rates.

codes! {
    "Uncertainty", Job;

    UNCERTAINTY_FIELD "uncertainty.field" [Note]
        "The 80 % range (P10 to P90) of the field's nitrogen, and what makes it."
        "Monte Carlo draws of place, ratio, noise, curve and use efficiency at once. The main share of the variance says what to improve first: a second strip, a better curve, a closer image.";
    UNCERTAINTY_SKEWED "uncertainty.skewed" [Note]
        "The computed total lies far from the middle of the draws, and why."
        "A limit that works on one side, such as a maximum yield or a minimum rate, makes the total lower or higher whichever way the curve errs. Read the range, not the single number.";
    UNCERTAINTY_ASSUMED "uncertainty.assumed" [Note]
        "Standard deviations that the range assumes, since the job states none."
        "Defaults come from made fields and published trials. State your own with their source where you have them.";
    UNCERTAINTY_PART "uncertainty.part" [Caution]
        "The reference is not in the range, since its response index has no interval."
        "The true range is wider, often much wider. A longer strip or more pairs of readings give an interval.";
    UNCERTAINTY_PLACE "uncertainty.place" [Caution]
        "Where the readings stand is not in the range."
        "How well a place stands for the field is the main part of the uncertainty, and for hand readings and percentiles it is unknown. State the standard deviation if you know it from earlier years.";
}
