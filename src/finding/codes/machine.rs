//! Codes of the machine and its files.

codes! {
    "Machine and its files", Job;

    MACHINE_PRODUCT "machine.product" [Caution]
        "No product is given, so machine files hold nitrogen and not what the machine meters."
        "Metered as product, a nitrogen rate is two to four times too low; entered the other way it is as much too high. Limits of the machine are not applied either. Give [product] before you apply.";
    MACHINE_LEAST "machine.least" [Caution]
        "Zones below the machine's minimum rate get nothing or the minimum."
        "A rate below half of the minimum becomes 0, others the minimum. Area and amount are in the message. Check the minimum, or change speed or nozzles so that it is lower.";
    MACHINE_GREATEST "machine.greatest" [Caution]
        "Zones above the machine's maximum rate get the maximum."
        "They get less than the method asks for; the shortfall is in the message. Drive slower there, or set rate.maximum to what the machine can do.";
    MACHINE_PRESSURE "machine.pressure" [Caution]
        "Rates of the liquid span more than 2 : 1, which one set of nozzles does not cover."
        "Flow goes with the square root of pressure: twice the flow needs four times the pressure, and drops become too fine or too coarse. Check the nozzle chart, or narrow rate.minimum and rate.maximum.";
    MACHINE_POSITION_LOST "machine.position_lost" [Caution]
        "Without position the machine goes on applying, although an exclusion has a buffer."
        "It cannot keep its distance from water or neighbours when it does not know where it is. Leave machine.position_lost out to get 0 there.";
    MACHINE_OUTSIDE "machine.outside" [Caution]
        "The machine is set to apply outside the field too."
        "Water, roads and neighbours lie there. Leave machine.outside out to get 0.";
    MACHINE_CELL_LENGTH "machine.cell_length" [Caution]
        "Cells are shorter than the machine needs to change its rate."
        "At the stated speed and delays the rate of one cell is reached only in the next, so the map is applied shifted and smeared. Leave machine.cell_length out to get the length that fits, or drive slower.";
    MACHINE_HEADING "machine.heading" [Note]
        "The job gives no heading; cells follow the longer axis of the boundary."
        "Cells that lie across the passes blur under the boom. Give machine.heading or a guidance line if you drive another way.";
    MACHINE_LINES "machine.lines" [Caution]
        "The file has several guidance lines; cells follow the first."
        "Choose the line that will be driven with layer and where, or give areas of their own with [[machine.area]].";
    MACHINE_LINE_BENT "machine.line_bent" [Note]
        "Cells follow a bent guidance line in straight pieces."
        "How near the pieces lie to the line and its minimum radius are in the message. Where the radius is near the working width, the inner and outer ends of the boom cover very different ground.";
    MACHINE_AREAS "machine.areas" [Note]
        "The field is driven in several ways, each with a heading of its own."
        "Names, areas and headings are in the message. Compare them with how you drive.";
    MACHINE_AREAS_OVERLAP "machine.areas_overlap" [Caution]
        "Two driving areas overlap within the field."
        "The earlier one counts there. Draw their common border once.";
    MACHINE_HEADLAND "machine.headland" [Note, Caution]
        "The headland that gets a rule of its own: its depth, area and nitrogen."
        "It is a caution when no canopy lies in it, or all of it does, so that nothing of the map is left. Check the number of passes and the working width.";
    MACHINE_LOOK_AHEAD "machine.look_ahead" [Caution]
        "Machine files are shifted against the direction of travel."
        "Most terminals look ahead themselves; with both, rates come early by twice the distance. Set the terminal's look-ahead to 0, drive the passes in the order that the job states, or leave machine.look_ahead out.";
    MACHINE_GRID_COARSENED "machine.grid_coarsened" [Caution]
        "Cells of the task grid had to grow to stay within 350 rows and columns."
        "That is what every controller must take (ISO 11783-10, from memory). Small zones blur into their neighbours. Use the shapefile if the terminal reads it, or split the field.";
    MACHINE_GRID_HELD "machine.grid_held" [Note]
        "Task cells across zones have a mean rate that the machine cannot apply."
        "They are limited to 0, or to the machine's minimum or maximum. A grid that holds the rates of the zones avoids it.";
    MACHINE_GRID_TOTAL "machine.grid_total" [Caution]
        "The task grid applies more than 0.5 % more or less than the zones."
        "Square cells do not follow zone borders, and cells that touch an exclusion get nothing. Order product by the grid's total if the machine uses the grid.";
    MACHINE_TASK_POLYGONS "machine.task_polygons" [Caution]
        "The task data hold polygons, which controllers need not take."
        "A grid is what every position-based controller must take; polygons are optional (ISO 11783-10, from memory). Try them on your terminal before the day, or set kind = \"grid\".";
}
