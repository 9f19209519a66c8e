//! Codes of boundary, exclusions and the working plane.

codes! {
    "Field and working plane", Job;

    FIELD_NAME "field.name" [Note]
        "The job gives no field name; the name of the boundary file stands in."
        "The name goes into the task, the card and the names of the machine files, and an operator picks the field by it on the screen. Write field.name when the file is called something like boundary.geojson.";
    FIELD_EXCLUDE_APART "field.exclude_apart" [Caution, Stop]
        "An exclusion lies wholly outside the field and takes nothing away."
        "Ground that must get no fertiliser then gets its rate. It is a caution where the exclusion may belong to another field, and a stop where it would lie in the field with longitude and latitude exchanged. Look at boundary and exclusion on one map; check the file and its reference system.";
    BOUNDARY_REPAIRED "boundary.repaired" [Note, Caution]
        "A polygon crosses itself and was repaired, which may change its area."
        "Where a line crosses itself it is unclear which side is field. The even-odd rule decides: ground enclosed once counts, ground enclosed twice does not. An exclusion is read as all that it encloses. Compare the area in the message with the one you know, look at the shape on a map, and correct the file if they differ.";
    BOUNDARY_OVERLAP "boundary.overlap" [Caution]
        "Features that were joined into one boundary overlap."
        "Overlap of more than 0.01 % of the area is named. A hole drawn as a feature of its own becomes part of the field when features are joined. Give holes as field.exclude, or draw the boundary as one polygon with its holes.";
    BOUNDARY_SEVERAL "boundary.several" [Caution]
        "The boundary file holds several features, and they were joined for the new job."
        "All of them count as one field. If they are fields of a farm, choose one of them with layer and where in field.boundary; else leave merge = true as it is written.";
    PLANE_UTM "plane.utm" [Note]
        "Areas are measured in the UTM zone, since the image's system is no plane of metres."
        "Areas and distances need a projected system whose metre is a metre on the ground, within 0.998 to 1.002. Longitude and latitude, or web maps, are not. Name another projected system in field.crs if you need one.";
    PLANE_TRANSFORMED "plane.transformed" [Note]
        "A file was reprojected, by the operation that the message names."
        "Layers in different reference systems are brought together by a transformation with an accuracy of its own; between old and new datums it can be off by metres. If the stated accuracy is worse than a few metres, look whether strip and boundary lie where they should on the image.";
}
