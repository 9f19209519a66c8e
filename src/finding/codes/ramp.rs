//! Codes of the nitrogen ramp.

codes! {
    "Nitrogen ramp", Job;

    RAMP_PASSED_OVER "ramp.passed_over" [Note]
        "The ramp in the job is not used, since a ramp gives one flat rate and no map."
        "haulm map compares with strips, readings or a percentile; haulm rate uses the ramp. Keep both in one job if you like.";
    RAMP_INDEX "ramp.index" [Note]
        "The index is not 0 without canopy, which does no harm for a ramp."
        "A ramp only asks where the index stops rising, so no ratio is formed. The same index is refused for maps that divide by it.";
    RAMP_APPLIED "ramp.applied" [Note]
        "The job does not say what the field got before, so it is taken to have had nothing."
        "The ramp gives the total need. What the field had already must be subtracted, or it gets that much too much. Write rate.applied_before.";
    RAMP_FEW "ramp.few" [Caution]
        "The ramp has fewer than six readings for a curve of three numbers."
        "A rise with a plateau has a start, a slope and a join; with five readings little is left to judge it by (six: own rule). Read each step more than once, or lay more steps.";
    RAMP_STEP "ramp.step" [Caution]
        "A step of the ramp is left out, since too few pixels are purely its own."
        "After the inset a step must be at least four pixels wide and hold at least five pixels with an image. Use a finer image or a smaller inset, or read the ramp by hand.";
    RAMP_NO_PLATEAU "ramp.no_plateau" [Stop]
        "The index still rises at the ramp's highest rate: there is no plateau."
        "The need is at least that rate, and how much more is unknown. Look again in one or two weeks, or lay a ramp that goes higher. An adviser may accept the highest rate of the ramp as a first dressing.";
    RAMP_NO_RESPONSE "ramp.no_response" [Note]
        "The index does not rise along the ramp: the response is not significant."
        "The 95 % interval of the slope contains 0. The crop finds enough nitrogen for now, and the minimum rate is an answer. Look again in 10 to 14 days.";
    RAMP_FALLS "ramp.falls" [Stop]
        "The index falls along the ramp: more nitrogen, poorer crop."
        "The whole 95 % interval of the slope lies below 0. Rates and readings are in opposite order, or the higher steps were burnt. Check the order, and look at the crop.";
    RAMP_OPEN "ramp.open" [Caution]
        "The start of the plateau has no upper bound within the ramp."
        "A plateau from the highest rate on fits nearly as well, so the need may be higher than stated. A ramp that goes higher would tell.";
    RAMP_LOW "ramp.low" [Caution]
        "The start of the plateau has no lower bound within the ramp."
        "A plateau from the second rate on fits nearly as well, so the need may be lower than stated. More steps at low rates would tell.";
    RAMP_TOP "ramp.top" [Caution]
        "The plateau rests on a single rate, the highest."
        "One step cannot show that the index stopped rising. Treat the answer as the lowest likely need, and lay a ramp with two or more steps above it.";
    RAMP_MODEL "ramp.model" [Caution]
        "Linear and quadratic plateau disagree by more than one step of the rate."
        "The same readings give two answers, so the curve decides and not the crop. Both are in the message with their squared errors. Prefer the lower one, or read more steps near the plateau; reference.ramp_model chooses.";
    RAMP_ENOUGH "ramp.enough" [Note]
        "The field has already had more nitrogen than the plateau asks for."
        "Nothing more is needed by the ramp. The answer is the minimum rate.";
    RAMP_HELD "ramp.held" [Caution]
        "The ramp asks for more than rate.maximum, and the rate is limited to that."
        "The crop gets less than the ramp asks for. If the limit is a rule of law or of the label, it stands; else look whether it is right.";
}
