//! Codes of checking a map: shapes, and how they cover the field.

codes! {
    "Checked maps: shapes and cover", Map;

    SHAPE_BROKEN "shape.broken" [Stop]
        "A polygon has no rings."
        "The record has a rate and no ground. Export the map again.";
    SHAPE_KIND "shape.kind" [Stop]
        "A shape is no polygon."
        "Points and lines cannot be treated as ground. Export zones as polygons.";
    SHAPE_NULL "shape.null" [Stop]
        "A record has no shape."
        "Some controllers refuse the whole file for one such record. Delete it.";
    SHAPE_PARTS "shape.parts" [Caution]
        "A record of the shapefile has several separate parts."
        "Many controllers read only the first; the others get the rate for outside. Split it into single parts.";
    SHAPE_Z "shape.z" [Note, Caution]
        "Shapes have heights or measures."
        "Controllers expect plain two-dimensional polygons; in a shapefile it is a caution. Export without Z and M.";
    POINT_NOT_FINITE "point.not_finite" [Stop]
        "A point of a ring is no finite number."
        "The border cannot be drawn there, and readers differ in what they make of it. Export the map again.";
    RING_EMPTY "ring.empty" [Stop]
        "A ring has no points."
        "It encloses no ground, and strict readers refuse it. Delete it.";
    RING_FEW_POINTS "ring.few_points" [Stop]
        "A ring has fewer than three different points."
        "It encloses no ground, and some controllers stop at it. Delete it.";
    RING_UNCLOSED "ring.unclosed" [Stop]
        "A ring does not end where it begins."
        "Readers close it by a straight line or refuse it. Repeat the first point at the end; --repair does.";
    RING_DUPLICATE_POINTS "ring.duplicate_points" [Caution]
        "A ring repeats points one after the other."
        "Harmless for most readers, though some fail on edges without length. --repair removes them.";
    RING_DIRECTION "ring.direction" [Caution, Stop]
        "A ring runs in the wrong direction for its format."
        "In a shapefile direction alone tells zones from holes, so a controller applies on holes or leaves out zones: a stop. In GeoJSON it breaks RFC 7946: a caution. --repair turns it.";
    RING_SPIKE "ring.spike" [Stop]
        "A ring runs out and back on itself."
        "The spike encloses no ground and makes the polygon invalid. --repair removes it.";
    RING_CROSSES "ring.crosses" [Stop]
        "A ring crosses itself or runs along itself."
        "Which side is zone then depends on the reader, and a controller may refuse the file. --repair resolves it by the even-odd rule; look at the result.";
    RING_TOUCHES "ring.touches" [Stop]
        "A ring touches itself in a point."
        "The zone falls into parts that meet in a point, which the standard of simple features does not allow. Split it; --repair does.";
    RINGS_CROSS "rings.cross" [Stop]
        "Two rings of a polygon cross."
        "A hole that crosses the exterior leaves it open which ground is zone. --repair resolves it; look at the result.";
    RINGS_SHARE_LINE "rings.share_line" [Stop]
        "Two rings of a polygon share a stretch of border."
        "Simple features allow rings to touch in single points only. --repair joins or cuts them.";
    POLYGON_SPLIT "polygon.split" [Stop]
        "Touching rings cut a polygon in two."
        "It must be two polygons, or readers disagree on its inside. --repair splits it.";
    HOLE_LOST "hole.lost" [Stop]
        "A hole of the field would get a rate."
        "The hole is a pond, a pylon or a wood in the boundary, and the map covers it. Cut it out of the zones.";
    HOLE_NESTED "hole.nested" [Stop]
        "A hole lies over another hole of the same polygon."
        "Overlapping holes make the polygon invalid. --repair joins them.";
    HOLE_OUTSIDE "hole.outside" [Stop]
        "A hole does not lie in its exterior."
        "It belongs to another polygon or is in the wrong place. Look at it on the map.";
    HOLE_RATE "hole.rate" [Stop]
        "Part of a hole of the field would get a rate."
        "The hole is a pond, a pylon or a wood in the boundary, and zones or cells reach into it. Cut them back, or set their rate to 0.";
    PATCH_DUPLICATE "patch.duplicate" [Stop]
        "The same polygon stands in the map twice."
        "With two rates, which one counts is chance; with one rate, totals count it twice. Delete one.";
    PATCH_OVERLAP "patch.overlap" [Stop]
        "Zones overlap by 1 m² or more."
        "That ground has two rates, and which one counts depends on the controller. Decide which zone it belongs to.";
    PATCH_OVERLAP_SMALL "patch.overlap_small" [Note]
        "Zones overlap by very little: less than 1 m² or 0.1 m each."
        "Rounded coordinates or borders drawn twice. Harmless for the machine.";
    PATCH_SLIVER "patch.sliver" [Caution]
        "A polygon is smaller than 1 m²."
        "No machine treats it, and some controllers fail on it. Join it with a neighbour.";
    PATCH_NARROW "patch.narrow" [Caution]
        "A zone is nowhere as wide as the machine."
        "The boom always covers other ground too, so the zone's rate cannot be applied alone. Join it with a neighbour.";
    PATCH_NECK "patch.neck" [Note, Caution]
        "A zone has a stretch narrower than the machine."
        "There the boom reaches into the next zones. It is a note at 90 % of the width or more, and along the field's edge (common practice, no source). Widen it, or split the zone there.";
    PATCH_OUTSIDE "patch.outside" [Stop]
        "A zone lies outside the field."
        "Product would go onto other ground. Check the boundary and the reference system.";
    FIELD_GAP "field.gap" [Caution, Stop]
        "Ground of the field lies in no zone."
        "It gets the terminal's rate for outside, or the last rate. Without a boundary to compare with it is a caution, since a gap may be a pond. Fill the gap, with rate 0 if nothing is due.";
    FIELD_OUTSIDE "field.outside" [Caution, Stop]
        "Zones reach over the field's edge."
        "A strip as wide as the machine is usual; beyond that product goes onto roads, hedges and neighbours. Without a machine width up to 50 m is a caution (common practice, no source). Cut the zones to the field.";
    FIELD_RUN_OUT "field.run_out" [Note]
        "Zones reach over the field's edge within the machine's width."
        "Many programs do so on purpose, so that the boom has a rate up to the edge. Section control must then be on.";
    FIELD_SLIVERS "field.slivers" [Note]
        "Pieces of the field too small or too narrow to treat belong to no zone."
        "Lines that were drawn as one and lie centimetres apart, or borders that do not quite meet. Harmless for the machine; snap the lines to each other in a GIS to avoid them.";
    EXCLUSION_RATE "exclusion.rate" [Stop]
        "Ground to be left out would get a rate."
        "That is usually water, a buffer or a neighbour's ground, where the law counts. Cut it out, or set its rate to 0.";
    GRID_ORDER "grid.order" [Stop]
        "The rows of the grid stand in the wrong order."
        "Task grids begin with the southern row. Turned over, every rate lands in the wrong place. --repair turns it; then look at the map.";
}
