//! Codes of zones and their outlines.

codes! {
    "Zones", Job;

    ZONES_JOINED "zones.joined" [Note]
        "Neighbouring zones of nearly the same rate were joined."
        "zones.tolerance allows it. Fewer zones are easier to drive and to read; the field's nitrogen changes by no more than 0.5 %.";
    ZONES_TOLERANCE "zones.tolerance" [Caution]
        "The tolerance for joining zones was lowered to keep the field's nitrogen."
        "As asked for it would have changed the total by more than 0.5 % (own rule). The tolerance used is in the message. Choose a smaller one, or a finer step of the rate.";
    ZONES_TOTAL "zones.total" [Caution]
        "The zones hold more than 2 % more or less nitrogen than the cells ask for."
        "Rounding to steps of the rate and joining small zones moves the total, most of all where the step is as large as the mean rate. The message gives both totals and a step that keeps them. Choose that step.";
    ZONES_MAXIMUM_STEP "zones.maximum_step" [Caution]
        "Some neighbouring cells still step by more than the job allows along the drive."
        "At bare soil, headland or missing image the rules of that ground come first, and joined small zones take their neighbour's rate. The machine lags there. A smaller minimum area of zones leaves fewer.";
    ZONES_SIMPLIFIED "zones.simplified" [Note]
        "Some borders were simplified less than asked for, so that none crosses another."
        "The map stays valid, with a few more points than wished. Lower zones.simplify if you want all borders treated alike.";
    ZONES_ROUNDED "zones.rounded" [Note]
        "Some corners were not rounded, so that no border crosses another."
        "Narrow zones leave no room for a curve. Only the look of the map is affected.";
    ZONES_AREA_HELD "zones.area_held" [Note]
        "Some zones keep their borders, since redrawing would change their area too much."
        "The limit is zones.area_within. Totals stay right. Nothing to do unless corners disturb you.";
    ZONES_AREA "zones.area" [Caution]
        "Outlines of some zones differ from their area by more than the job allows."
        "Totals count the true area, but a terminal that measures the outline shows another. Lower zones.simplify or zones.round_corners.";
}
