# Words of report, card and sheets, in English. Values in braces are put in by the program; numbers come with their formatting.

## Pages

page-title = Nitrogen map for { $field }
page-subject = { $crop }, image of { $image }, map { $map }
page-client = {", "}grower { $name }
page-farm = {", "}farm { $name }
page-foot = { $field }, map { $map }. Made by haulm { $version }. Label and law first; a licensed adviser decides.
page-contents = Contents
page-not-for-use = NOT FOR USE: a finding stops this map. Nothing was written for the machine.

word-note = Note:
word-caution = Caution:
word-stop = Stop:
word-accepted = Stop, accepted:
finding-accepted = Accepted by { $by }: { $reason }.

## Page one

one-heading = The decision
one-stopped = Do not apply by this map. A finding stops it; see what it says above, look in the field, and correct the input, or let an adviser accept the finding by name in the job.
one-nothing = No nitrogen now on any of { $area }: the crop does as well as the reference strip. Look again in 10 to 14 days.
one-nitrogen-itself = nitrogen
one-decision = Apply { $least } to { $greatest } { $unit } of { $product } by this map: { $total } on { $area }.
one-decision-flat = Apply { $greatest } { $unit } of { $product } everywhere on { $area }: { $total } in all.
one-decision-nitrogen = Apply { $n_least } to { $n_greatest } { $n_unit } by this map: { $total } on { $area }. No product was named: the numbers are nitrogen itself.
big-product = { $product } in all
big-on = on { $area }
big-limited = {" "}(the zones ask for { $asked }; limited by the machine's minimum or maximum)
big-mean = Mean rate
big-rates = Range of rates
big-range = { $low } to { $high } { $unit }
big-zones = , { $zones } zones
one-range = Uncertainty: 80 % range { $low } to { $high } (P10 to P90, Monte Carlo, { $draws } draws), most of it from the { $widest }.
one-range-limits = Uncertainty: { $low } to { $high } at the 95 % limits of the response index.
one-range-efficiency = Uncertainty: { $high } to { $low } for a use efficiency of 0.6 to 0.4.
one-range-none = Uncertainty: unknown; the job gives nothing to work it out from.
one-set = By hand { $set } on { $area }: { $after } instead of { $before }. Reason: { $reason }
one-set-more = Rates of { $more } further places are set by hand: page three has each with its reason.
one-brings = Gain of the map
one-brings-expected = Gain of the map, nitrogen share { $share }
one-look = Look at this before you drive
one-mind = Precautions
one-limits = This map is a help, not a recommendation. It knows the ground by an image, by strips and by what the job says. Yields and gains are estimates by a curve of past trials, no promise; a gain that is not called expected is an upper bound, since all that is applied is taken to work.

fact-nitrogen = Nitrogen in all
fact-loads = Loads
fact-loads-blank = ____ of ____ each
fact-loads-value = { $fills } of at most { $capacity }
fact-loads-split = the last { $last }, or each { $even }
fact-planned = Planned for
fact-planned-open = no date given
fact-image = image of { $date }
fact-gain-none = Over no nitrogen
fact-gain-note = at most
fact-gain-flat = Over a flat { $rate }
fact-gain-best-flat = Over the best flat rate, { $rate }
fact-gain-expected = expected
fact-gain-usual = Over the usual { $rate }
fact-cost = Nitrogen and pass
fact-money = Money
fact-money-none = no prices in the job
fact-ratio = Response index
fact-ratio-interval = { $answer }95 % limits { $low } to { $high }
fact-ratio-placebo = { $answer }95 % limits { $low } to { $high } by { $places } placebo strips; ground alone gives as much in { $probability }
fact-answer-responds = the crop responds;{" "}
fact-answer-doubtful = not surely above 1;{" "}
fact-answer-none = not significantly above 1;{" "}
fact-ratio-no-interval = no limits: { $reason }
fact-share = Nitrogen share of the index's variation
fact-share-range = 80 % range { $low } to { $high }
fact-by-interval = Nitrogen at these limits
fact-seen-ground = on the ground that the image shows
fact-drawn = Nitrogen, 80 % range
fact-drawn-note = P10 to P90, median { $middle }; Monte Carlo, { $draws } draws, most by the { $widest }
fact-by-efficiency = Nitrogen by use efficiency
fact-by-efficiency-note = on the ground that the image shows, at 0.6 and at 0.4
fact-shares = Other than crop
fact-shares-value = no image { $unseen }, bare soil { $bare }, poor stand { $thin }

look-strip = The strip: greener by nitrogen, not by soil, water or tracks?
look-palest = The palest zones: nitrogen, or water, disease, pests, sulphur?
look-thin = Poor stand and bare soil (hatched): what is wrong there?
look-unseen = Ground without an image (crossed): does the rate there fit it?
look-cautions = Page three: { $cautions } cautions. Read them before you drive.
look-exclusions = Left-out ground: is its edge where the map has it?

mind-law = The product's label and local law come first; a licensed adviser decides.
mind-water = Wells and surface water: the map keeps clear only of what the job names ({ $entered }), by the user's distances, not the law's. Look up what code and label ask.
mind-water-none = Wells and surface water: the job names none, so the map keeps no distance. Look up what code and label ask.
mind-water-short = { $entered }; the user's distances, not the law's
mind-water-none-short = none named in the job
mind-unnamed = left-out ground
mind-holes = holes of the boundary: no distance
mind-ammonia = Anhydrous ammonia blinds and kills: goggles, gloves, water at hand, hoses and valves inspected, people and houses upwind.
mind-gear = Wear the protective gear that the label names.
mind-leaf-burn = It burns leaves: not on hot, wet or frosted crop, streams rather than sprays.
mind-drift = Liquid drifts: keep to the wind and nozzle limits of the label.
mind-loss = Urea on a warm, damp surface loses ammonia to the air: before light rain is best.
mind-ground = Nothing on frozen, snow-covered, flooded or saturated ground, nor before heavy rain.

## Maps and charts

legend-rate = Rate, { $unit } · area
legend-index = { $index }
legend-ground = Ground
legend-thin = poor stand
legend-bare = bare soil
legend-unseen = no image
legend-left-out = left out, with buffer
legend-strip = reference strip
legend-set = rate set by hand
legend-hard-edge = hard edge
legend-boundary = boundary
legend-heading = driving direction { $degrees }
legend-heading-of = drive { $degrees }: { $ground }
legend-around = surroundings, image
legend-north = true north
map-strip = S{ $number }
map-by-colour = { $zones } zones: by colour alone
map-left-out = left out
map-hole = not field
map-rates-title = Map of rates, { $field }
map-rates-alt = Map of { $zones } zones with rates from { $least } to { $greatest } { $unit }; the table of zones holds the same in numbers.
map-caption = Numbers in zones are rates. Latitude and longitude: WGS 84. Projection { $plane } ({ $name }). Image: { $image }, taken { $date }.
map-index-title = Map of { $index }, { $field }
map-index-alt = Map of the canopy index { $index }; the field's mean is { $mean }.
map-index-caption = { $index } as taken, thinned for the page; mean of the field's crop { $mean }. Dark is a dense, green canopy.
map-index-caption-cells = { $index } as the mean of each cell; mean of the field's crop { $mean }. Dark is a dense, green canopy.
profile-title = { $index } along strip { $number }
profile-along = along the strip, { $unit }
profile-strip = strip
profile-beside = comparison ground
profile-dropped = dropped
profile-caption = Strip { $number }: mean { $strip }, comparison ground { $beside }, ratio { $ratio }.
profile-caption-alone = Strip { $number }: mean { $strip }; no comparison ground.
profile-interval = 95 % limits of the ratio { $low } to { $high }.
placebo-ratio = ratio of strip to comparison ground
placebo-places = placebo strips; above: 95 % limits of the response index
placebo-alt = Bars: the ratio at { $places } places without a strip varies by { $spread } (standard deviation). The strips' own ratios stand beside them; ground alone gives as much in { $probability } of places.
placebo-caption = The same measurement at { $places } places without a strip varies by { $spread }; ground alone gives a ratio as high as the strips' in { $probability }.
placebo-none = No placebo strips: { $reason }.
histogram-rate = rate, { $unit }
histogram-area = area, { $unit }
histogram-alt = Bars of area by rate: { $count } rates; most ground, { $area }, gets { $rate }.
histogram-caption = Area by rate.
response-rate = one flat rate, { $unit }
response-yield = mean yield, { $unit }
response-flat = the map's mean, { $rate }
response-usual = the usual rate, { $rate }
response-alt = Curve of the crop's mean yield at flat rates: { $without } without nitrogen, { $with } at { $rate }.
response-caption = Mean yield of the crop at one flat rate, at most.

## Page two

two-heading = The evidence
two-strips-elsewhere = The first two of { $strips } strips; all are listed on page five.

## Page three

three-heading = Findings and zones
three-findings = Everything that was noticed, by weight
three-no-findings = Nothing.
three-zones = Zones
three-zones-elsewhere = { $zones } zones, by rate. Each one stands in prescription.gpkg, and in the report with [report] appendix = true.
three-zones-appendix = { $zones } zones, by rate. The appendix lists each one.
table-zones = Zones
table-rates = Zones by rate
table-zone = Zone
table-zone-count = Zones
table-area = Area, { $unit }
table-ground = Ground
table-ratio = Response index
table-without = Yield without more N, { $unit }
table-with = Yield with it, { $unit }
table-total = Total, { $unit }
table-sum = Field
table-none = –
state-canopy = crop
state-thin = poor stand
state-bare = bare soil
state-unseen = no image

## Page four

four-heading = Walk and sheets
blank-who = Who
sign-grower = Grower, date
sign-adviser = Adviser, licence number, date
sign-operator = Operator, date

scout-heading = The walk
scout-none = There is no place that the image asks to see. Walk the field all the same.
scout-caption = Places to see before anything is applied; the same are in scouting.gpx (degrees, WGS 84)
scout-further = Further places
scout-number = No.
scout-place = Place
scout-latitude = Latitude
scout-longitude = Longitude
scout-seen = What is there
scout-decision = Decision after the walk: apply as mapped / change / do not apply
scout-strip-name = Strip { $strip } end { $end }
scout-palest-name = Palest, zone { $zone }
scout-thin-name = Poor stand
scout-unseen-name = No image
scout-bare-name = Bare soil
scout-exclusion-name = Left out { $number } corner { $corner }
scout-strip = Does the strip begin and end here? Is it greener than the crop beside it, on the same soil? Pull leaves from both.
scout-palest = Index { $index }. Lack of nitrogen, or water, disease, pests, sulphur, compaction, a poor stand? Look at old leaves and roots.
scout-thin = { $area } of poor stand: will it carry a yield at all?
scout-unseen = { $area } without an image: is it like the crop around it?
scout-bare = { $area } of bare soil: why, and does the rate there fit?
scout-exclusion = Does the edge of what is left out lie where it lies on the ground, with the distance that code and label ask?
kind-strip = Strip ends
kind-palest = Palest
kind-palest-look = lack of nitrogen, or water, disease, pests, sulphur, compaction, a poor stand? Look at old leaves and roots.
kind-thin = Poor stand
kind-thin-look = will it carry a yield at all?
kind-unseen = No image
kind-unseen-look = is it like the crop around it?
kind-bare = Bare soil
kind-bare-look = why, and does the rate there fit?
kind-exclusion = Corners of left-out ground

plan-heading = Planned
plan-text = For the nutrient-management file, after what plans by NRCS Conservation Practice Standard 590 ask (items partly from memory): the field office's own list goes first. No statement that any rule is met.
plan-source = Source
plan-source-value = { $product }, { $nitrogen } % nitrogen by mass
plan-no-product = no product named; rates are nitrogen
plan-rate = Rate
plan-rate-value = { $least } to { $greatest } { $unit }, mean { $mean } { $unit } ({ $n_mean }); in all { $total }
plan-time = Time
plan-time-value = image of { $image }, { $days } days with GDD > 0 after planting
plan-time-date = planned for { $date }
plan-place = Place
plan-place-value = { $field } ({ $latitude }, { $longitude }), { $area } in { $zones } zones, boundary in prescription.gpkg
plan-sensitive = Sensitive areas
plan-crop = Crop
plan-crop-value = { $crop }, planted { $date }
plan-yield = Yield goal
plan-yield-value = mean { $without } without and { $with } with more nitrogen (estimate)
plan-layers = Data and equations
plan-layers-value = page five, hashes in record.json; haulm { $version }
plan-soil-test = Soil test: date, laboratory, nitrate, P, K, pH
plan-manure = Manure, legumes, irrigation, earlier nitrogen
plan-sequence = Crop before and after
plan-budget = Nutrient budget for N, P and K
plan-risk = N leaching and P risk assessment
plan-soil-survey = Soil map units
plan-method = Placement and method
plan-water = Setbacks by rule: wells, water, sinkholes
plan-local = State and local rules looked up
plan-licence = Who may write this plan: licence
plan-calibration = Last calibration of the machine

applied-heading = Applied
applied-text = Filled in by whoever applies, on the day; kept with the machine's log. What was planned is not what was applied.
applied-map = Map
applied-planned-mean = Planned mean
applied-planned-total = Planned total
applied-times = Date, begin and end
applied-machine = Machine, working width, speed
applied-product = Product, supplier, batch
applied-density = Density or bulk density measured
applied-weather = Temperature, wind and its direction, rain before and after
applied-ground = State of ground and crop
applied-area = Area done
applied-total = Product applied, by tank or scale
applied-weights = Weights or levels before and after each load
applied-stops = Where position was lost or the machine stopped
applied-changes = What was changed against the map, where, and why
applied-log = Name of the machine's log file

## Page five

five-heading = How the map was made
five-repeat-text = With haulm { $version } and the inputs below this command makes the same map, id { $map }, byte for byte:
five-formulas = Formulas
formula-index = Index: { $index } = { $formula }. Source: { $source }.
formula-cell = Cell: mean of the index of its seen, whole pixels that are not bare soil, weighted by the share of each pixel that lies in the cell. Own rule.
formula-reference = Reference index I_ref = { $index }, from { $kind }; strips and cells are measured alike. Own rule; the use of a strip: Johnson and Raun 2003.
formula-interval = Limits of the response index: Fieller 1954 for paired means over blocks along the strip, with Student's t and fewer degrees of freedom where neighbouring blocks agree.
formula-placebo = Placebo strips: strip and swaths at { $places } other places of the crop; the ratio there varies by { $spread } (standard deviation), the strip's mean by { $level }. Limits RI · (1 ± t · s · √(1 + 1/{ $effective })), over the root of the number of strips where they agree; paired limits { $paired }.
formula-ratio = Response index of a cell: RI = s · I_ref / I + (1 − s) · RI_field, limited to 1 … { $largest }; nitrogen share s: { $share }; adjustment: { $adjusted }. Ratio to the strip: Mullen and others 2003 (from memory); the share between 0 and 1 is an own rule.
formula-without = Yield potential without more nitrogen: YP0 = min(a · exp(b · I / D), YPmax) with a = { $a } kg/ha, b = { $b } d, D = { $days } days with GDD > 0, YPmax = { $most } kg/ha. Form: Raun and others 2002 (from memory). Curve: { $source }.
formula-with = Yield potential with more nitrogen: YPN = min(YP0 · RI, YPmax).
formula-rate = Nitrogen: N = (YPN − YP0) · g / e − applied since sensing, with g = { $g } (nitrogen in grain), e = { $e } (use efficiency), applied { $applied } kg N/ha. Common to the papers above.
formula-method = Method and its settings: { $method }. Source: { $source }.
formula-from-memory = This formula is from memory and was not compared with its paper.
formula-limits = Clamped to { $minimum } … { $maximum } and rounded to { $step }; small zones joined to a neighbour, the field's total kept. Own rule.
formula-product = Product = nitrogen / { $nitrogen }; density { $density } kg/L.
formula-money = Yield at another rate: min(YP0 + (N + applied) · e / g, YPN), a straight line to a ceiling: a gain that is not called expected is an upper bound.
formula-sources = The full list of sources, and which of them were read, stands in the documentation of haulm under "Sources".
five-strips = Reference strips
five-no-strips = The reference comes from { $kind }, not from strips on the image.
five-place = The comparison ground stands at { $place } of the field's mean index { $mean }; acceptable range 0.97 to 1.03.
strips-caption = Strips as measured
strips-strip = Strip
strips-estimator = Estimator
strips-index = In the strip
strips-beside = Comparison ground
strips-pixels = Pixels
strips-dropped = Segments dropped
strips-less = With less inset
strips-more = With more inset
strips-reason = Left out because
five-days = Growing days
days-text = { $days } days with GDD > 0: { $counted }.
days-stated = as stated in the job
days-caption = Weather between planting and sensing, by month
days-month = Month
days-days = Days
days-least = Mean minimum, { $unit }
days-greatest = Mean maximum, { $unit }
days-growing = GDD > 0
days-so-far = So far
five-inputs = Inputs
inputs-caption = Files that were read
inputs-file = File
inputs-bytes = Bytes
inputs-hash = SHA-256
plane-text = Areas are computed in { $plane } ({ $name }): areal scale { $scale }, true azimuth less grid azimuth { $convergence }°. Drive along { $heading }° true.
plane-area = Drive { $name } along { $heading }° true.
plane-transformed = { $from } reprojected to { $to } by { $name }, stated accuracy { $accuracy } m.
five-settings = Every setting that was used stands in record.json.

## Appendix

appendix-heading = Appendix
appendix-zones = All zones
appendix-walk = Further places of the walk
appendix-strips = Further strips

## Card

card-title = Card for the cab: { $field }
card-heading = Before the first pass
card-field = Field
card-client = Grower
card-farm = Farm
card-map-id = map { $map }
card-load-value = Load the task data or the shapefile, never both.
card-product = Product
card-task = TASKDATA, task
card-shapefile = Shapefile
card-column = column { $column }, unit { $unit }
card-rates = Rates
card-mean = mean { $mean }
card-total = Total
card-start = On start
card-outside = Outside
card-lost = Position lost
card-lost-note = stop, wait for position, do not guess; note where
card-map-alt = Small map of the rates with the check points.
card-map-caption = Numbers in zones are rates in { $unit }; circles are check points.
card-points = Check points: what the screen must show (latitude, longitude, WGS 84)
card-no-points = No zone is wide enough for a check point: compare the map on the screen with the report before you start.
card-place = Place
card-must-show = Must show
card-stop-if = Look at the check points first. If the screen shows another number, do not apply: wrong map, column, product or unit. A screen may round.
card-heading-of = Drive along (true north)
card-looks-ahead = This map looks ahead by { $by }: set the terminal's own look-ahead to 0, or rates shift twice. It does not shut off: leave that to boundary and sections. Calibrate first.
card-shut-off = The map does not look ahead and does not shut off: set look-ahead on the terminal, leave shut-off to boundary and sections, calibrate first.
card-fill-in = Fill in
card-blank-time = Begin, end
card-blank-wind = Wind, temperature
card-blank-product = Product, batch, density
card-blank-weights = Weights or levels before and after
card-blank-operator = Operator
