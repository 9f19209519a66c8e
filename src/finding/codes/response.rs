//! Codes of response and method.

codes! {
    "Response and method", Job;

    RESPONSE_NONE "response.none" [Note]
        "The response index is not significantly above 1: the crop shows no need of nitrogen."
        "Strip and comparison ground look alike within what place and noise make. The minimum rate is an answer: nitrogen applied now is likely to bring nothing. Look again in 10 to 14 days.";
    RESPONSE_RESPONDS "response.responds" [Note]
        "The crop responds to nitrogen: the response index is significantly above 1."
        "The 95 % interval lies above 1. With placebo strips it holds the ground's own differences too, so the response is unlikely to be chance.";
    RESPONSE_STATED_RATIO "response.stated_ratio" [Stop]
        "A maximum ratio is stated although the response index is not significantly above 1."
        "With a ratio of your own, ground that is pale for other reasons gets nitrogen that the strip shows no need of. Leave the number out; an adviser who knows of a lack may accept it.";
    RESPONSE_DOUBTFUL "response.doubtful" [Caution]
        "It is uncertain whether the crop responds to nitrogen."
        "The interval of the response index contains 1, and yet the strip is greener than nearly every other place of its shape in the field. Rates are limited to what the strip supports. Look again in 10 to 14 days, and look at the strip.";
    RESPONSE_SPENT "response.spent" [Caution]
        "Nitrogen is applied although no response is significant."
        "The minimum rate, or single pale cells, cost nitrogen that is unlikely to pay. Look whether rate.minimum must be above 0, or wait for a second look in 10 to 14 days.";
    RESPONSE_CURVE "response.curve" [Note]
        "A response curve is given but not used, since no economic optimum is asked for."
        "response.economic = true makes the curve set the rate by the prices of grain and nitrogen. Else take it out.";
    RESPONSE_ECONOMIC "response.economic" [Note]
        "The economic optimum, and how it follows from curve and prices."
        "It is the rate where the last kilogram of nitrogen just pays. Near it the profit is flat: the message gives the range of rates that lose less than 1 % of the yield.";
    RESPONSE_BEYOND_TRIAL "response.beyond_trial" [Caution]
        "The economic optimum lies above the highest rate of its trial."
        "No yield was measured there, so the curve is extrapolated. Use a curve from a trial with higher rates, or limit rate.maximum to the trial's highest rate.";
    RESPONSE_REGION "response.region" [Note, Caution]
        "The method's numbers were made for another region, or it is unknown for which."
        "Curves and thresholds follow climate, soil and variety. It is a caution when both regions are named and differ. Use numbers of your region, or ask an adviser.";
    RESPONSE_SENSOR "response.sensor" [Note, Caution]
        "The method's numbers were made for another kind of sensor, or it is unknown for which."
        "The same crop reads differently on a drone camera, a satellite and an active sensor. It is a caution when both sensors are named and differ. Use numbers for your sensor.";
    METHOD_INDEX "method.index" [Caution]
        "The method was published for another index than the one that is read."
        "A sufficiency of 0.9 by a leaf meter is not a sufficiency of 0.9 by NDVI; rates shift by an unknown amount. Use a method fitted with your index, or give its numbers yourself with their source.";
    METHOD_MEMORY "method.memory" [Caution]
        "The method's formula was written from memory and not compared with its paper."
        "The message names the paper. Let an adviser compare the formula that haulm methods prints before you apply rates made with it.";
    METHOD_RISING "method.rising" [Caution]
        "The ramp gives the best ground the most nitrogen."
        "That is right where poor ground yields little whatever it gets, and wrong where a low index is lack of nitrogen. Look whether at_low and at_high are exchanged.";
    METHOD_STEEP "method.steep" [Caution]
        "A dead band below 0.02 lets noise alone make nitrogen."
        "The curve is steepest where the crop is nearly sufficient, so small differences of the index become large differences of the rate. 0.03 to 0.05 is usual (common practice, no source).";
}
