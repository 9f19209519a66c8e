//! Codes of checking a map: task data of ISO 11783-10.

codes! {
    "Checked maps: task data", Map;

    TASK_FILE_NAME "task.file_name" [Caution]
        "The task data do not stand as TASKDATA/TASKDATA.XML."
        "Terminals look for exactly that name, in capitals. Rename folder and file.";
    TASK_DECLARATION "task.declaration" [Caution]
        "The file does not begin with an XML declaration."
        "Strict readers refuse it. The first line must be <?xml version=\"1.0\" encoding=\"UTF-8\"?>, with nothing before it.";
    TASK_VERSION "task.version" [Note, Stop]
        "The file's version is not one that every controller reads."
        "Versions 2 and 3 are read by all, 4 by newer ones only (a note); others are unknown. Export as version 3 if the terminal refuses it.";
    TASK_ORIGIN "task.origin" [Caution]
        "The file does not say that it comes from the office."
        "DataTransferOrigin must be 1 for a plan; some terminals skip files that look as if a machine wrote them.";
    TASK_NONE "task.none" [Stop]
        "The file holds no task."
        "There are no rates in it. Export a task, not only master data.";
    TASK_SEVERAL "task.several" [Note, Caution]
        "The file holds more tasks than those that are checked."
        "The message says which are: all that hold a map, or the one that --layer names; a conversion takes one (a caution unless it is named). The operator has to choose the right one on the screen.";
    TASK_STATUS "task.status" [Caution]
        "The task is not marked as planned."
        "A task that counts as running or done may not be offered on the terminal. Its status (G) should be 1.";
    TASK_OWNER "task.owner" [Caution]
        "The task names no customer or farm."
        "Some terminals list tasks only below one, and this one is not found. Fill both in.";
    TASK_NO_LOG "task.no_log" [Note]
        "The task asks for no log of what was applied."
        "Without a DLT element a machine may record nothing. Add one if you want as-applied data.";
    TASK_FIELD "task.field" [Caution]
        "The task names no field."
        "The terminal then knows no boundary. Link it to a field (attribute E).";
    TASK_GRIDS "task.grids" [Stop]
        "The task has several grids."
        "One is allowed, and it is left to chance which is used. Keep one.";
    TASK_GRID "task.grid" [Stop]
        "Corner, cell size or counts of the grid are missing or impossible."
        "Without them the rates have no place. Export the task again.";
    TASK_GRID_SIZE "task.grid_size" [Caution]
        "The grid has more than 350 rows or columns."
        "350 of each is what every controller must take (ISO 11783-10, from memory). Use larger cells, or split the field.";
    TASK_GRID_FILE "task.grid_file" [Stop]
        "The binary file of the grid is missing."
        "The rates are in it. Copy the whole folder.";
    TASK_GRID_NAME "task.grid_name" [Note]
        "The grid's file differs from the name in the task by capitals."
        "A terminal that tells capitals apart does not find it. Rename the file.";
    TASK_GRID_ZONE "task.grid_zone" [Stop]
        "The grid refers to a treatment zone that does not exist."
        "Its numbers then have no unit. Export the task again.";
    TASK_GRID_KIND "task.grid_kind" [Stop]
        "The grid is of an unknown type."
        "Types 1 (zone codes) and 2 (rates) are defined. Export the task again.";
    TASK_GRID_LENGTH "task.grid_length" [Stop]
        "The grid's file has the wrong length for its rows and columns."
        "Rows shift, and rates land in the wrong place. Copy it again; --repair makes it fit only where the field shows how.";
    TASK_GRID_STATED "task.grid_stated" [Caution]
        "The grid's stated length is not that of its file."
        "Strict readers refuse it. Correct the attribute H, or export again.";
    TASK_CODE_UNKNOWN "task.code_unknown" [Stop]
        "Cells hold the code of a treatment zone that does not exist."
        "Their rate is unknown. Add the zone, or export again.";
    TASK_EXPONENT "task.exponent" [Stop]
        "A corner of the grid is no plain decimal number."
        "Exponents and decimal commas are misread. Write it with a point and without an exponent.";
    TASK_POLYGONS "task.polygons" [Note]
        "Rates stand as polygons, which controllers need not take."
        "Every position-based controller must take a grid; polygons are optional (ISO 11783-10, from memory). Try it before the day, or convert it with --to iso11783.";
    TASK_BOTH "task.both" [Stop]
        "The task holds a grid and polygons with rates."
        "Which of them counts is not defined. Keep one.";
    TASK_ZONE_POLYGONS "task.zone_polygons" [Caution]
        "A treatment zone has several polygons in a file before version 4."
        "Older versions allow one; a terminal may read only the first. Export again as version 4 or as a grid.";
    TASK_EXTERIORS "task.exteriors" [Stop]
        "A polygon does not have exactly one exterior."
        "From version 4 on it must have one. Export the task again.";
    TASK_ID "task.id" [Caution, Stop]
        "An id of the file is missing or malformed."
        "Ids are the element's three letters and a number, at most 14 characters. It is a caution for a leading zero and for a minus sign in a plan.";
    TASK_ID_TWICE "task.id_twice" [Stop]
        "An id is given more than once."
        "References then lead to the wrong field, product or task. Give each element its own.";
    TASK_DANGLING "task.dangling" [Stop]
        "An element refers to an id that does not exist."
        "The customer, field, product or unit it needs is missing. Export all master data with the task.";
    TASK_TEXT "task.text" [Note, Caution]
        "A name is longer than 32 characters or has letters beyond ASCII."
        "Terminals cut long names (a caution) and may show such letters as boxes (a note). Use short plain names.";
    TASK_EXTERNAL "task.external" [Note]
        "Parts of the task stand in other files, which were read."
        "Not every terminal follows such references. Export into one file if yours does not.";
    TASK_EXTERNAL_NAME "task.external_name" [Caution, Stop]
        "The name of a file that the task refers to is malformed, or differs by capitals."
        "Three capitals and five digits are due, in the same folder. Other names are not opened.";
    TASK_EXTERNAL_TWICE "task.external_twice" [Stop]
        "A file is referred to twice."
        "Its elements would count twice. It is read once here; remove one reference.";
    TASK_EXTERNAL_MISSING "task.external_missing" [Stop]
        "A file that the task refers to is missing."
        "Parts of the task are in it. Copy the whole folder.";
    TASK_EXTERNAL_UNREADABLE "task.external_unreadable" [Stop]
        "A file that the task refers to cannot be read."
        "It is damaged or no XML. Copy or export it again.";
    TASK_EXTERNAL_ROOT "task.external_root" [Stop]
        "A file that the task refers to does not have the root element XFC."
        "Nothing of it is used, so parts are missing. Export the task again.";
    TASK_EXTERNAL_KIND "task.external_kind" [Stop]
        "A file that the task refers to holds elements of another kind than its name says."
        "They are not used, so parts are missing. Export the task again.";
    TASK_ZONE_CODE "task.zone_code" [Stop]
        "The code of a treatment zone is no number from 0 to 254."
        "The zone cannot be referred to. Number the zones from 1.";
    TASK_ZONE_VALUE "task.zone_value" [Stop]
        "A treatment zone has no value."
        "Its ground has no rate. Give it one, 0 if nothing is due.";
    TASK_VALUES "task.values" [Caution]
        "A treatment zone has several values."
        "Only the first is sure to be used. Make one task for each product.";
    TASK_ZONE_TWICE "task.zone_twice" [Stop]
        "Two treatment zones have the same code."
        "Which rate counts is left to chance. Give each its own code.";
    TASK_ZONE_DANGLING "task.zone_dangling" [Stop]
        "The zone for start, lost position or outside does not exist."
        "In that case the machine keeps the last rate or stops. Name a zone that exists.";
    TASK_FALLBACK_KIND "task.fallback_kind" [Stop]
        "The zone for start, lost position or outside sets another quantity than the map."
        "The map's own rate then stays on when position is lost or the field ends. Use the same data dictionary entry.";
    TASK_NO_FALLBACK "task.no_fallback" [Note]
        "The task names no rate for the start or for lost position."
        "The last rate stays on. Name a zone of rate 0 or of the field rate.";
    TASK_NO_OUTSIDE_ZONE "task.no_outside_zone" [Caution]
        "The task names no rate for ground outside the field."
        "The last rate stays on beyond the edge. Name a zone of rate 0.";
    TASK_NO_BOUNDARY "task.no_boundary" [Caution]
        "The task has a rate for outside, but its field has no boundary."
        "There is no outside without one. Export the field's boundary with the task.";
    TASK_DDI "task.ddi" [Stop]
        "A value names no valid entry of the data dictionary."
        "Four hexadecimal digits are due, such as 0006 for mass by area. Without them the quantity is unknown.";
    TASK_DDI_KIND "task.ddi_kind" [Stop]
        "A value is no setpoint of mass, volume or nitrogen by area."
        "Actual rates belong in logs; a plan holds setpoints, such as 0001 for volume and 0006 for mass by area. Export the task again.";
    TASK_VALUE "task.value" [Stop]
        "A value is no whole number of 32 bits."
        "Rates are stored as integers in the unit of the data dictionary. Export the task again.";
}
