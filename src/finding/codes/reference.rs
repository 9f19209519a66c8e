//! Codes of the N-rich reference strip and what stands in for it.

codes! {
    "Reference strip", Job;

    REFERENCE_BELOW "reference.below" [Caution, Stop]
        "The reference strip is paler than its comparison ground: the response index lies below 1."
        "A strip with ample nitrogen cannot be poorer for lack of it. The strip may be on poor ground, burnt, drawn in the wrong place, or readings may be exchanged. It stops when the whole 95 % interval lies below 1; without an interval it is a caution below 0.95 (common practice, no source). Look at the strip in the field.";
    REFERENCE_PLACE "reference.place" [Caution]
        "The comparison ground of the strip is better or poorer than the field's mean."
        "Rates of the whole field are set against the strip, so a strip on the best ground raises them all and one on poor ground lowers them. Acceptable is 0.97 to 1.03 of the field's mean index (own rule, from made fields). Lay next year's strip across the field, or use several; reference.level = \"balanced\" halves the error.";
    REFERENCE_INTERVAL "reference.interval" [Note, Caution]
        "The response index has no interval."
        "Without one it is unknown whether the crop responds at all. A strip needs at least five blocks with data, hand readings at least five pairs along the strip. Make the strip longer or take more pairs, and treat a response index near 1 as none.";
    REFERENCE_NO_PLACEBO "reference.no_placebo" [Note]
        "The interval comes from along the strip alone, since there are no placebo strips."
        "Placebo strips are the same shape laid over the rest of the canopy; they show how much the ground alone makes strips differ. Without at least 20 of them the interval is too narrow where the ground differs. A larger field or a shorter strip gives enough.";
    REFERENCE_READINGS "reference.readings" [Note]
        "Hand readings give the ratio; the image's mean sets the level."
        "Sensor and image have different scales, so only the ratio of strip to comparison ground is taken from the readings. It is applied to the mean index of the image, as if the readings stood for the whole field. Take them in several places.";
    REFERENCE_VIRTUAL "reference.virtual" [Caution]
        "The reference is a high percentile of the field's own canopy, no strip."
        "A percentile finds better ground in every field, so it shows a deficit in every field, one with ample nitrogen too. It cannot tell nitrogen from soil or water. Use it only where the crop is known to respond, and lay a strip for next season.";
    REFERENCE_PIXELS "reference.pixels" [Caution]
        "A reference strip or a step of a ramp rests on fewer than 30 pixels."
        "The fewer pixels, the more one bad patch moves the reference, and with it every rate (30: common practice, no source). Use a finer image, or a longer and wider strip.";
    REFERENCE_NARROW "reference.narrow" [Caution]
        "A strip is narrower than the working width, at pixels that do not show wheel tracks."
        "It holds another share of tracks than the field, so the total comes out too low: by 28 % with strips of 12 m, 7 % with 24 m, none without tracks (made fields, 10 m pixels, 36 m working width). Lay strips a whole pass wide.";
    REFERENCE_SATURATED "reference.saturated" [Caution]
        "NDVI of the strip is above 0.85, where it hardly rises with more nitrogen."
        "In a dense canopy NDVI saturates: strip and field look alike although one has more nitrogen, so the need is understated (0.85: common practice, no source). Use a red-edge index such as NDRE, with a yield curve that was fitted with it.";
    REFERENCE_INSET "reference.inset" [Caution]
        "A strip's index changes by more than 0.01 when its edges are moved in or out."
        "The drawn strip does not match the ground that got the nitrogen: the spreader overlapped, or the outline is shifted. Draw it from the machine's log, or raise reference.inset until the index stays the same.";
    REFERENCE_INSET_TOTAL "reference.inset_total" [Caution]
        "The field's nitrogen changes by more than 5 % when the strip's edges are moved."
        "The position of the drawn strip then decides the total (5 %: own rule). Check the outline against the spreader's log before you order product.";
    REFERENCE_BLUR "reference.blur" [Note, Caution]
        "What the strip's index would be if the sensor blurred as satellite sensors usually do."
        "Light from neighbouring ground spills into each pixel, by about one pixel beyond its own size (published figures of three sensors: 0.83 to 1.02). A narrow strip then reads too near to the crop next to it. It is a caution when the index would change by more than 0.01. Use a wider strip, or state imagery.point_spread.";
    REFERENCE_LEFT_OUT "reference.left_out" [Caution]
        "A reference strip cannot be measured and is left out."
        "The message says why: no image on it, too narrow for the pixels, or bare soil. The other strips decide alone. If it is the strip that you trust most, use another image.";
    REFERENCE_DROPPED "reference.dropped" [Note]
        "Segments of a strip were left out as unlike the rest."
        "Weeds, lodging, a double pass or a gap make single segments stand out. The index with all of them is in the message. reference.drop = 0 keeps every segment.";
    REFERENCE_DROPPED_TOTAL "reference.dropped_total" [Note]
        "What the field would get if no segment of the strips were left out."
        "A large difference means that a few places on the strip decide the field's nitrogen. Walk them and decide whether they belong to the reference.";
    REFERENCE_UNEVEN "reference.uneven" [Caution]
        "The reference strip is uneven along its length."
        "Many segments unlike the rest, two kinds of crop on one strip, or far more variation than on its comparison ground: weeds, drought, a dead stretch or two varieties. Its mean then stands for no ground. Walk the strip, and draw only the part that is sound.";
    REFERENCE_STAND "reference.stand" [Caution]
        "The comparison ground of the strip has an uneven stand."
        "Where plants are missing, the crop need not answer to nitrogen. The limit is the crop's own coefficient of variation of the index, 40 % for wheat and 65 % for corn in the shipped table. Look at the stand before you rely on the response index.";
    REFERENCE_BESIDE "reference.beside" [Caution]
        "There is too little comparison ground next to a strip."
        "Without it the strip gives a level but no response index, so it is unknown whether the crop responds. Headlands, exclusions or the field's edge take it away. Lay the strip with crop on both sides.";
    REFERENCE_OF_FIELD "reference.of_field" [Caution]
        "A new job has no strip, or a strip of the file belongs to no job."
        "Of a file for several fields each job takes the strips of which half lies in its field, as much as a run asks for. Check the strips' place and reference system; fields without a strip need hand readings or a method without a strip.";
    REFERENCE_ONE_STRIP "reference.one_strip" [Note]
        "The field rests on one strip alone."
        "Canopy differs for more reasons than nitrogen, so the place of a single strip moves the field's nitrogen: standard deviation 28 % with one strip, 21 % with two (made fields). Two strips on different ground cost little.";
    REFERENCE_STRIPS "reference.strips" [Note]
        "How far the strips differ, and what the field would get by each alone."
        "The spread between strips is the best measure that a field has of how far place matters. When one strip asks for far more than the others, look at the ground that it lies on.";
    REFERENCE_DISAGREE "reference.disagree" [Caution]
        "The strips contradict each other: their response indices differ more than their intervals allow."
        "One part of the field responds, another does not, or one strip is faulty. The pooled value stands for neither. Compare the totals by each strip, look at the strips, and map the parts as fields of their own or with reference.zones.";
    REFERENCE_UNCLEAR "reference.unclear" [Stop]
        "The interval of the response index is so wide that it says nothing."
        "An interval wider than 0.5, or one that reaches to 0, comes from a strip that is half dead, full of weeds or too short (own rule). A rate computed from it is a guess. Look at the strip, draw only its sound part, or use another strip.";
    REFERENCE_UNCROSSED "reference.uncrossed" [Caution]
        "More than a fifth of the canopy is paler than anything that a strip crosses."
        "A low index there may be lack of nitrogen, or of water, or another soil or variety; no strip tells. The method takes it for nitrogen (20 %: own rule, checked on made fields). Walk that ground first, and lay the next strip through it.";
    REFERENCE_RATIO_TOTAL "reference.ratio_total" [Caution]
        "By the strip's ratio instead of its level the field would get more than 15 % more or less."
        "The two agree when the strip lies on average ground. When they do not, the strip's place decides the total (15 %: own rule). Look whether its ground stands for the field.";
    REFERENCE_NO_ZONE "reference.no_zone" [Caution]
        "Cells lie in no zone of reference.zones and take the reference of all strips."
        "Gaps between the zones, or a zone file that does not cover the field. Draw the zones over the whole field if the difference between them matters.";
    REFERENCE_ZONE_WITHOUT_STRIP "reference.zone_without_strip" [Caution]
        "A zone of reference.zones has no usable strip and takes the reference of all strips."
        "Its rates rest on strips that lie on other ground, which is what the zones were drawn to avoid. Lay a strip there, or join the zone with one that has a strip.";
    REFERENCE_POINT_SPREAD "reference.point_spread" [Note]
        "The sensor's blur is removed from the strip's reading only."
        "Cells are not sharpened, so small patches keep the blur of the image. Their rates are drawn towards those of their neighbours.";
    REFERENCE_POINT_SPREAD_FIT "reference.point_spread_fit" [Note, Caution]
        "The sensor's blur was fitted on the strips, or could not be."
        "The message gives the width in pixels with its interval, and what the reference index would be at both ends. It is a caution when the strips determine it poorly. A published figure for the sensor in imagery.point_spread is better.";
    REFERENCE_POINT_SPREAD_UNUSED "reference.point_spread_unused" [Note]
        "The fit of the sensor's blur is not used, since every strip has pure pixels."
        "Strips at least four pixels wide after the inset are read from pixels that lie wholly in them, and these need no correction. Nothing to do.";
}
