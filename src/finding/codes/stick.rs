//! Codes of a stick for the terminal: writing it, and proving that it holds what the office made.

codes! {
    "Stick", Map;

    STICK_FOLDER "stick.folder" [Note]
        "The maps were written to a folder, not to a disk of its own."
        "Terminals look for TASKDATA at the root of a stick. Copy the content of the folder, not the folder itself, and prove the copy: haulm check STICK --against OFFICE.";
    STICK_TWICE "stick.twice" [Note]
        "The same map was given more than once; it stands on the stick once."
        "Map id and machine files are the same, so nothing is lost.";
    STICK_SAME_FIELD "stick.same_field" [Caution]
        "Several maps are of fields with the same name."
        "A terminal lists them by name. Tell them apart by the map id, which ends the task's name and stands on card and index page; better, give the fields different names.";
    STICK_RENAMED "stick.renamed" [Note]
        "Shapefiles whose names would be the same got others."
        "Names are cut to eight capitals for old terminals. Those that clash end in the number that ends the field's name (Miller North 40 and 80: MILLER40, MILLER80), else in _1, _2, ... in the order of field and map id. Index page and card say which is which.";
    STICK_FORMATS "stick.formats" [Caution]
        "A map has no task data, or no shapefile, for the stick."
        "Its job does not name the format. The card says what there is to load. Add iso11783 or shapefile to output.formats and make the map again if the terminal needs it.";
    STICK_MANY "stick.many" [Caution]
        "The task data hold more elements than every controller must take."
        "A controller must take 2000 elements of a kind and 20000 in all (ISO 11783-10, points of outlines not counted). Use more sticks, or grids instead of polygons.";
    STICK_RETURNED "stick.returned" [Note, Caution]
        "The stick carries work done by a machine."
        "haulm stick copies it to the office with --bring-back and compares every file before it writes anything new.";
    STICK_GRID "stick.grid" [Stop]
        "The grid of a map is not the one that the office made."
        "Every cell is compared. Do not use the stick: write it again. Who changed it is worth asking; a mirrored or transposed grid comes from a program that read rows or columns in another order.";
    STICK_TASK "stick.task" [Stop]
        "The task of a map says something else than the office's."
        "Customer, farm, field, boundary, product, unit, rates and the grid's position are compared with references followed, so other ids are no difference. Do not use the stick: write it again.";
    STICK_SHAPEFILE "stick.shapefile" [Stop]
        "The shapefile of a map is missing or is not the one that the office made."
        "Every byte is compared. Do not use the stick: write it again.";
    STICK_CARD "stick.card" [Caution]
        "The card or index page is missing or is not the one that was written."
        "The maps are compared for themselves. Print the card from the office, or write the stick again.";
    STICK_MISSING "stick.missing" [Stop]
        "A map of the office is not on the stick."
        "The driver would look for it in vain. Write the stick again with all maps.";
    STICK_EXTRA "stick.extra" [Stop]
        "The stick holds a map that is none of the maps given."
        "Nothing is known of it, so nothing is proved. Name its output folder too, or write the stick again with the maps that you want.";
    STICK_STRANGER "stick.stranger" [Caution]
        "Files lie among the maps of the stick that belong to none of them."
        "A terminal may list them. Take them away before the stick goes to the machine, unless they came back from it and are still to be copied.";
    STICK_RECORD "stick.record" [Caution]
        "The stick has no record of haulm, so it is not known which shapefile and card belong to which map."
        "Task data are compared by map id all the same. Write the stick with haulm stick to have all of it compared.";
}
