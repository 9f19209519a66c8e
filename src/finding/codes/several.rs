//! Codes of commands that take several jobs at once.

codes! {
    "Several jobs", Map;

    MAPS_REFUSED "maps.refused" [Stop]
        "One of several jobs was refused, so it has no new map; the others have theirs."
        "An earlier map in its folder stays as it was. haulm check with that job alone tells the whole reason.";
}
