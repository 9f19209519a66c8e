//! Codes of converting a map.

codes! {
    "Conversion of a map", Map;

    CONVERT_MEANING "convert.meaning" [Caution]
        "File and option disagree on what the rates are; the option counts."
        "Nitrogen taken for product, or lb/ac for kg/ha, changes every rate. Make sure that --unit is right.";
    CONVERT_AREA "convert.area" [Caution]
        "The written map covers more than 0.5 % more or less ground than the source."
        "A coarse grid or pixel does not follow the zones' borders. Use smaller cells, or a polygon format.";
    CONVERT_TOTAL "convert.total" [Caution]
        "The written map applies more than 0.5 % more or less product than the source."
        "Cells on borders mix rates. Order by what the machine is given, or use smaller cells.";
    CONVERT_BOUNDARY "convert.boundary" [Note]
        "The map has no boundary; the union of its zones stands in."
        "Gaps between zones become outside, and get the rate for outside. Give a map with its boundary if it has gaps.";
    CONVERT_FALLBACKS "convert.fallbacks" [Caution]
        "The map has no rates for start, lost position or outside; 0 is written."
        "Task data must state them. With 0 the machine applies nothing in these cases, which is the safe choice; a terminal may let the operator change it.";
    CONVERT_NITROGEN "convert.nitrogen" [Caution]
        "The task data hold nitrogen, but a machine meters product."
        "A terminal takes the rates for those of the product in the tank: with UAN 28 it would spread 28 % of the nitrogen that was meant. State the product with --product, so that product rates are written.";
    CONVERT_POLYGONS "convert.polygons" [Caution]
        "Polygons in task data are optional for controllers."
        "Try the file on your terminal before the day, and keep a grid at hand (--task-kind grid).";
    CONVERT_EXCLUSIONS "convert.exclusions" [Caution]
        "Exclusions are not exported; their ground has no zone."
        "Ground without a zone gets the terminal's rate for outside, or the last rate. Check that rate on the terminal.";
    CONVERT_OUTSIDE "convert.outside" [Note]
        "Cells of rate 0 outside the boundary become no zone."
        "They only fill the rectangle of the grid. Nothing is lost.";
    CONVERT_PATCHES "convert.patches" [Note]
        "The file holds a grid and polygons; the grid is used."
        "The polygons may say something else. Check the map if you expected them.";
    CONVERT_SHAPELESS "convert.shapeless" [Caution]
        "Records without a shape are left out."
        "Their rates belong to no ground. Export the map again if zones are missing.";
    CONVERT_TEXT "convert.text" [Note]
        "Rates stored as text were turned into numbers."
        "Many controllers read text as 0, so the converted map is safer than the source.";
    CONVERT_REPAIRED "convert.repaired" [Note]
        "Invalid outlines were repaired without a change of area."
        "Look at them on the map if the source is known to be faulty; haulm check names the faults.";
}
