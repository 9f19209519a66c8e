//! Codes of checking a map: the file, its table and its place.

codes! {
    "Checked maps: file, table and place", Map;

    FAULTS_MORE "faults.more" [Note]
        "More faults of one kind were found than are listed."
        "The first ones are listed one by one; --json and the layer of --faults hold more. Correct the kind as a whole, then check again.";
    FILE_BOX "file.box" [Caution]
        "The extent in the shapefile's header is not that of its shapes."
        "Some controllers place or zoom the map by the header. Export the file again.";
    FILE_CUT "file.cut" [Stop]
        "The file ends too early or is damaged within a record."
        "It was probably not copied completely. Copy it again, and eject the stick before you pull it out.";
    FILE_DAMAGED "file.damaged" [Stop]
        "The database fails its own integrity check."
        "Parts may be missing or wrong without any visible sign. Copy or export it again.";
    FILE_LENGTH "file.length" [Stop]
        "The file has another length than its header states."
        "It was cut off or added to, and a controller may refuse it or read nonsense. Copy or export it again.";
    FILE_LINK "file.link" [Caution]
        "The KML links to other files, which are not checked."
        "What they hold may change or be missing in the cab. Export the map into one file.";
    FILE_MARK "file.mark" [Note]
        "The file begins with a byte order mark."
        "Some readers refuse it. Save it as UTF-8 without the mark.";
    FILE_RECORDS "file.records" [Stop]
        "Shapes and rows differ in number, or records are missing."
        "Rates then stand with the wrong shapes, or some ground is missing. Export the map again; never edit .dbf and .shp apart from each other.";
    FILE_SET "file.set" [Stop]
        "A part of the shapefile is missing."
        "A shapefile needs .shp, .shx and .dbf of one name in one folder, and .prj for its place. Copy all parts.";
    FILE_TABLE "file.table" [Stop]
        "The table of the shapefile cannot be read."
        "Without it there are no rates. Copy or export the set again.";
    MAP_EMPTY "map.empty" [Stop]
        "The map holds no shape with a rate."
        "The wrong layer was exported, or a filter removed everything. Choose the layer with --layer.";
    COLUMN_CUT "column.cut" [Note, Caution]
        "The rate column's name is, or would be, cut to ten letters in a shapefile."
        "Units at the end of a name are lost, and an operator can no longer tell nitrogen from product. Use a short name with its unit, such as KG_HA.";
    COLUMN_KIND "column.kind" [Note]
        "A column is neither a number nor text."
        "Controllers expect numbers and texts only. Remove dates and logical columns from the export.";
    COLUMN_LETTERS "column.letters" [Note]
        "A column name has blanks, a leading digit or letters beyond ASCII."
        "Some terminals show it wrongly or skip the column. Use capitals, digits and underscores, beginning with a letter.";
    COLUMN_TWINS "column.twins" [Caution]
        "Two column names are the same once cut to ten letters."
        "The operator cannot tell them apart on the screen and may load the wrong rate. Rename one.";
    COUNT_ZONES "count.zones" [Caution]
        "The map has more than 2000 zones."
        "Older terminals become slow or refuse (common practice, no source). Join small zones, or use larger cells.";
    COUNT_POINTS "count.points" [Caution]
        "The map has more than 5000 points in a ring, or 200 000 in all."
        "Older terminals cut such rings or refuse (common practice, no source). Simplify the borders.";
    SYSTEM_MISSING "system.missing" [Stop]
        "The map states no reference system."
        "Without it the place of the map is a guess, and a controller may put it on another field. Add the .prj, or export again with the system.";
    SYSTEM_WRONG "system.wrong" [Stop]
        "The coordinates cannot be of the reference system that the map states."
        "Metres with a system of degrees, or the other way. Do not change numbers: state the right system, usually EPSG:4326 for longitude and latitude.";
    SYSTEM_ELSEWHERE "system.elsewhere" [Stop]
        "The map does not meet the field."
        "It belongs to another field, or its reference system is wrong. The message gives both places.";
    SYSTEM_OLD_MEMBER "system.old_member" [Caution]
        "The GeoJSON states its reference system in a member that RFC 7946 removed."
        "Readers of today take its numbers for longitude and latitude. Export it in WGS 84.";
    AXES_SWAPPED "axes.swapped" [Stop]
        "Longitude and latitude are exchanged."
        "The map lies in another part of the world for any controller. Export it with longitude first.";
    RASTER_BANDS "raster.bands" [Caution]
        "The raster has several bands; the first is used as the rate."
        "Check that it is the rate and not a colour. Export a raster with one band of rates.";
    RASTER_NODATA_ZERO "raster.nodata_zero" [Caution]
        "0 means no data in the raster."
        "Ground that must get nothing then looks like ground without a rate, and may get the fallback of the terminal. Export with another number for no data, such as -9999.";
    RASTER_NO_PLACE "raster.no_place" [Stop]
        "The raster has no georeference."
        "A picture of a map cannot be driven by. Export it as GeoTIFF with its georeference.";
    RASTER_TURNED "raster.turned" [Stop]
        "The rows of the raster do not run from west to east."
        "Rotated rasters are read wrongly by most programs. Export it north-up.";
    UNIT_UNKNOWN "unit.unknown" [Caution]
        "It is unknown what the numbers of the map are."
        "Nitrogen and product, kilograms and pounds, differ by up to four times. State it with --unit, and name the column by its unit.";
    UNIT_CONTRADICTS "unit.contradicts" [Caution]
        "You state another unit than the map does; yours is used."
        "One of the two is wrong, and all checks of size depend on it. Ask whoever made the map.";
    UNIT_DOUBTFUL "unit.doubtful" [Caution, Stop]
        "Rates do not fit their stated unit or substance."
        "Nitrogen above 250 kg/ha looks like product (common practice, no source); a column of nitrogen next to product must give the product's content; the unit on the screen must match the stored number. Find out which number is right before anything is applied.";
    UNIT_MIXED "unit.mixed" [Stop]
        "The map mixes rates of two units."
        "A controller reads one unit for all zones. Convert all rates to one unit.";
}
