//! Codes of the product.

codes! {
    "Product", Job;

    PRODUCT_OWN "product.own" [Note]
        "The product is not in the shipped table, so nothing is known of its precautions."
        "Mixing, storage, crop safety and losses are on the label and the safety data sheet; they come first in any case.";
    PRODUCT_SAFETY "product.safety" [Caution]
        "A hazard to people of the product."
        "Label and safety data sheet come first; the sentence here is a reminder and never complete. Wear what they ask for.";
    PRODUCT_LEAVES "product.leaves" [Caution]
        "The product can burn leaves when it is applied over the crop."
        "How much depends on rate, weather, nozzle and growth stage. Follow the label, use streaming nozzles or drop hoses where it says so, and avoid hot, dry days.";
    PRODUCT_MIXING "product.mixing" [Note]
        "What the product must not meet in tank or hopper."
        "Some pairs gel, cake or give off gas. Try a jar test, and follow both labels.";
    PRODUCT_LOSS "product.loss" [Note]
        "How the product loses nitrogen to air or water."
        "Timing before rain, an inhibitor or incorporation save more nitrogen than any map. Local rules on season, distance and inhibitors come first.";
    PRODUCT_HANDLING "product.handling" [Note]
        "What storing or handling the product needs."
        "See label and safety data sheet; local rules on storage come first.";
    PRODUCT_SALT_OUT "product.salt_out" [Note, Caution]
        "The temperature at which salt falls out of the solution."
        "Salt plugs filters and nozzles, and what is left is weaker in nitrogen. It is a caution at or below that temperature and within 3 °C above it (own rule). Wait for warmer weather, or use a weaker grade.";
    PRODUCT_DENSITY "product.density" [Note, Caution]
        "The density by which nitrogen becomes litres or gallons."
        "Rates in volume move with it one to one. It is a caution when the job's density differs by more than 5 % from the table's for the same grade. A hydrometer reading of the load wins.";
    PRODUCT_GRADE "product.grade" [Note, Caution]
        "The job's nitrogen content is not that of the table for a product of this name."
        "The job's figure is used. A difference of more than a tenth is a caution: name or content is probably wrong, and every rate moves with it. Take the content from the delivery note.";
}
