# Words of report, card and sheets, in English. Values in braces are put in by the program; numbers come with their formatting.

## Pages

page-title = Nitrogen map for { $field }
page-subject = { $crop }, image of { $image }, map { $map }
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
one-stopped = Do not spread by this map. A finding stops it; see what it says above, look in the field, and correct the input, or let an adviser accept the finding by name in the job.
one-nothing = No nitrogen now on any of { $area }: the canopy beside the strip does as well as the strip itself. Look again in 10 to 14 days.
one-nitrogen-itself = nitrogen
one-decision = Spread { $least } to { $greatest } { $unit } of { $product }, { $mean } { $unit } on average over { $area }. That is { $n_least } to { $n_greatest } { $n_unit }, { $n_mean } on average. Product in all: { $total }.
one-decision-flat = Spread { $greatest } { $unit } of { $product } everywhere on { $area }. That is { $n_greatest } { $n_unit }. Product in all: { $total }.
one-decision-nitrogen = Spread { $n_least } to { $n_greatest } { $n_unit }, { $n_mean } on average over { $area }. Nitrogen in all: { $total }. No product was named: the numbers are nitrogen itself.
one-put-on = What to put on
one-brings = What it brings, and how sure that is
one-look = Look at this before you drive
one-mind = Precautions
one-limits = This map is a help, not a recommendation. It knows the ground only by an image, by strips and by what the job says. Yields and gains are estimates by a curve of past trials, and no promise; gains that are not called expected are upper bounds, since what is applied is taken to work fully.

fact-field = Field
fact-field-note = { $zones } zones of { $cells } cells
fact-mean = Mean rate
fact-product = Product in all
fact-product-note = in the field alone
fact-nitrogen = Nitrogen in all
fact-total-held = the map asks for { $asked }; the machine's least and greatest rate changed it
fact-loads = Loads
fact-loads-blank = ____ of ____ each
fact-loads-value = { $fills } of at most { $capacity }
fact-loads-split = the last { $last }, or each { $even }
fact-loads-note = product by what the tank holds
fact-planned = Planned for
fact-planned-open = no date given
fact-image = image of { $date }
fact-made = Printed on
fact-made-blank = ____________
fact-made-note = time of making: record.json
fact-gain-none = Gain over no nitrogen
fact-gain-note = at most
fact-gain-flat = Gain over a flat { $rate }
fact-gain-best-flat = Gain over the best flat rate, { $rate }
fact-gain-expected = expected; { $share } of the paleness is nitrogen
fact-gain-usual = Gain over the usual { $rate }
fact-cost = Nitrogen and pass
fact-money = Money
fact-money-none = no prices in the job
fact-ratio = Response index
fact-ratio-interval = { $answer }95 % interval { $low } to { $high }
fact-ratio-placebo = { $answer }95 % interval { $low } to { $high } by { $places } placebo strips; ground alone gives as much in { $probability }
fact-answer-responds = the crop responds;{" "}
fact-answer-doubtful = a response is doubtful;{" "}
fact-answer-none = no response;{" "}
fact-ratio-no-interval = no interval: { $reason }
fact-share = Paleness that is nitrogen
fact-share-range = 80 % range { $low } to { $high }
fact-by-interval = Nitrogen by that interval
fact-seen-ground = on the ground that was seen
fact-drawn = Nitrogen, P10 to P90
fact-drawn-note = middle { $middle }; { $draws } draws of every uncertainty at once, most by the { $widest }
fact-by-efficiency = Nitrogen by use efficiency
fact-by-efficiency-note = on the ground that was seen, at 0.6 and at 0.4
fact-shares = Not plain crop
fact-shares-value = unseen { $unseen }, bare { $bare }, thin { $thin }

look-strip = The strip: greener than beside it by nitrogen, not by soil, water or wheel tracks?
look-palest = The palest zones: lack of nitrogen, or water, disease, pests, sulphur, a poor stand?
look-thin = Thin and bare ground (hatched): what is wrong there?
look-unseen = Ground that the image does not show (crossed): does the stated rate fit it?
look-cautions = Page two: { $cautions } cautions. Read them before you drive.
look-exclusions = Corners of what is left out: is the edge on the ground where the map has it?

mind-law = The product's label and the law of the place come first.
mind-adviser = A licensed adviser decides.
mind-water = Wells and surface water: kept clear is only what the job names ({ $entered }). These are the user's distances, not the law's: look up what code and label ask.
mind-water-none = Wells and surface water: the job names none, so the map keeps no distance. Look up what code and label ask.
mind-unnamed = ground left out
mind-holes = holes of the boundary: no distance kept beyond them
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
legend-thin = thin crop
legend-bare = bare ground
legend-unseen = not seen
legend-left-out = left out, with buffer
legend-strip = reference strip
legend-hard-edge = hard edge
legend-boundary = boundary
legend-north = true north
map-strip = S{ $number }
map-rates-title = Map of rates, { $field }
map-rates-alt = Map of { $zones } zones with rates from { $least } to { $greatest } { $unit }; the table of zones holds the same in numbers.
map-caption = Numbers in zones are rates. Projection { $plane } ({ $name }). Image: { $image }, taken { $date }.
map-index-title = Map of { $index }, { $field }
map-index-alt = Map of the canopy index { $index }; the field's mean is { $mean }.
map-index-caption = { $index } as taken, thinned for the page; mean of the field's canopy { $mean }. Dark is much canopy.
map-index-caption-cells = { $index } as the mean of each cell; mean of the field's canopy { $mean }. Dark is much canopy.
profile-title = { $index } along strip { $number }
profile-along = along the strip, { $unit }
profile-strip = strip
profile-beside = beside it
profile-dropped = left out
profile-caption = Strip { $number }: mean { $strip } in the strip, { $beside } beside it, ratio { $ratio }.
profile-caption-alone = Strip { $number }: mean { $strip } in the strip; nothing to compare with beside it.
profile-interval = 95 % interval of the ratio { $low } to { $high }.
histogram-rate = rate, { $unit }
histogram-area = area, { $unit }
histogram-alt = Bars of area by rate: { $count } rates; most ground, { $area }, gets { $rate }.
histogram-caption = How much ground gets which rate.
response-rate = one flat rate, { $unit }
response-yield = mean yield, { $unit }
response-flat = the map's mean, { $rate }
response-usual = the usual rate, { $rate }
response-alt = Curve of the canopy's mean yield at flat rates: { $without } without nitrogen, { $with } at { $rate }.
response-caption = What one flat rate would bring on the mean of the canopy.

## Page two

two-heading = What was measured, and how it became rates
two-findings = Everything that was noticed
two-no-findings = Nothing.
two-zones-elsewhere = The appendix lists all { $zones } zones one by one.
table-zones = Zones
table-rates = Zones by rate
table-zone = Zone
table-zone-count = Zones
table-area = Area, { $unit }
table-ground = Ground
table-ratio = Ratio
table-without = Yield without more N, { $unit }
table-with = Yield with it, { $unit }
table-total = Total, { $unit }
table-sum = Field
table-none = –
state-canopy = crop
state-thin = thin
state-bare = bare
state-unseen = not seen

## Appendix

appendix-heading = Appendix: how to repeat it
appendix-repeat = Repeat
appendix-repeat-text = With haulm { $version } and the inputs below this command makes the same map, id { $map }, byte for byte:
appendix-formulas = Formulas
formula-index = Index: { $index } = { $formula }. Source: { $source }.
formula-cell = Cell: mean of the index of its seen, whole, not bare pixels, weighted by the share of each pixel that lies in the cell. Own rule.
formula-reference = Reference index I_ref = { $index }, from { $kind }; strips and cells are measured alike. Own rule; the use of a strip: Johnson and Raun 2003.
formula-interval = Interval of the response index: Fieller 1954 for paired means over blocks along the strip, with Student's t and fewer degrees of freedom where neighbouring blocks agree.
formula-placebo = Placebo strips: strip and swaths at { $places } other places of the canopy; the ratio there varies by { $spread } (standard deviation), the strip's mean by { $level }. Interval RI · (1 ± t · s · √(1 + 1/{ $effective })), over the root of the number of strips where they agree; paired interval { $paired }.
formula-ratio = Response index of a cell: RI = s · I_ref / I + (1 − s) · RI_field, limited to 1 … { $largest }; nitrogen share s: { $share }; adjustment: { $adjusted }. Ratio to the strip: Mullen and others 2003 (from memory); the share between 0 and 1 is an own rule.
formula-without = Yield without more nitrogen: YP0 = min(a · exp(b · I / D), YPmax) with a = { $a } kg/ha, b = { $b } d, D = { $days } growing days, YPmax = { $most } kg/ha. Form: Raun and others 2002 (from memory). Curve: { $source }.
formula-with = Yield with more nitrogen: YPN = min(YP0 · RI, YPmax).
formula-rate = Nitrogen: N = (YPN − YP0) · g / e − applied since sensing, with g = { $g } (nitrogen in grain), e = { $e } (use efficiency), applied { $applied } kg N/ha. Common to the papers above.
formula-method = Method and its settings: { $method }. Source: { $source }.
formula-from-memory = This formula is from memory and was not compared with its paper.
formula-limits = Held to { $minimum } … { $maximum } kg N/ha and rounded to { $step } kg N/ha; small zones joined to a neighbour, the field's total kept. Own rule.
formula-product = Product = nitrogen / { $nitrogen }; density { $density } kg/L.
formula-money = Yield at another rate: min(YP0 + (N + applied) · e / g, YPN), a straight line to a ceiling: a gain that is not called expected is an upper bound.
formula-sources = The full list of sources, and which of them were read, stands in the documentation of haulm under "Sources".
appendix-strips = Reference strips
appendix-no-strips = The reference comes from { $kind }, not from strips on the image.
appendix-place = The ground beside the strips stands at { $place } of the field's mean index { $mean }; 0.97 to 1.03 is trusted.
strips-caption = Strips as measured
strips-strip = Strip
strips-estimator = Estimator
strips-index = In the strip
strips-beside = Beside it
strips-pixels = Pixels
strips-dropped = Segments left out
strips-less = With less inset
strips-more = With more inset
strips-reason = Left out because
appendix-days = Growing days
days-text = { $days } growing days: { $counted }.
days-stated = as stated in the job
days-caption = Weather between planting and sensing, by month
days-month = Month
days-days = Days
days-least = Mean least, { $unit }
days-greatest = Mean greatest, { $unit }
days-growing = Growing days
days-so-far = So far
appendix-inputs = Inputs
inputs-caption = Files that were read
inputs-file = File
inputs-bytes = Bytes
inputs-hash = SHA-256
plane-text = Areas are reckoned in { $plane } ({ $name }): areal scale { $scale }, true azimuth less grid azimuth { $convergence }°. Drive along { $heading }° true.
plane-area = Drive { $name } along { $heading }° true.
plane-transformed = { $from } carried to { $to } by { $name }, stated accuracy { $accuracy } m.
appendix-settings = Settings
settings-caption = Every setting that was used, as in the record
settings-key = Setting
settings-value = Value
appendix-zones = All zones

## Sheets

blank-date = Date
blank-who = Who
sign-grower = Grower, date
sign-adviser = Adviser, licence number, date
sign-operator = Operator, date

scout-heading = Sheet: the walk
scout-text = Places that somebody should see before anything is spread. The same places are in scouting.gpx for a phone or a receiver.
scout-caption = Places (degrees, WGS 84)
scout-number = No.
scout-place = Place
scout-latitude = Latitude
scout-longitude = Longitude
scout-look = What to look for
scout-seen = What is there
scout-decision = Decision: spread as mapped / change / do not spread
scout-strip-name = Strip { $strip } end { $end }
scout-palest-name = Palest, zone { $zone }
scout-thin-name = Thin crop
scout-unseen-name = Not seen
scout-bare-name = Bare ground
scout-exclusion-name = Left out { $number } corner { $corner }
scout-strip = Does the strip begin and end here? Is it greener than the crop beside it, on the same soil? Pull leaves from both.
scout-palest = Index { $index }. Lack of nitrogen, or water, disease, pests, sulphur, compaction, a thin stand? Look at old leaves and roots.
scout-thin = { $area } of thin crop: will the stand carry a yield at all?
scout-unseen = { $area } that the image does not show: is it like the crop around it?
scout-bare = { $area } of bare ground: why, and does the rate there fit?
scout-exclusion = Does the edge of what is left out lie where it lies on the ground, with the distance that code and label ask?

plan-heading = Sheet: planned
plan-text = For the conservation or nutrient-management file. What the run knows is filled in; the rest are lines to fill in. The items follow what plans after NRCS Conservation Practice Standard 590 ask of a nitrogen application at a variable rate (items partly from memory): the field office's own list goes first. This sheet is no statement that any rule is met.
plan-four = Right source, rate, time and place
plan-source = Source
plan-source-value = { $product }, { $nitrogen } % nitrogen by mass
plan-no-product = no product named; rates are nitrogen
plan-rate = Rate
plan-rate-value = { $least } to { $greatest } { $unit }, mean { $mean } { $unit } ({ $n_mean }); in all { $total }
plan-time = Time
plan-time-value = by an image of { $image }, { $days } growing days after planting
plan-time-date = planned for { $date }
plan-place = Place
plan-place-value = { $area } in { $zones } zones, georeferenced in { $plane }, in the files of this map
plan-items = Items of the plan
plan-field = Field and place
plan-boundary = Georeferenced boundary
plan-boundary-value = { $area }; layer "field" of prescription.gpkg, map { $map }
plan-sensitive = Sensitive areas and setbacks
plan-crop = Crop
plan-crop-value = { $crop }, planted { $date }
plan-yield = Realistic yield goal
plan-yield-value = estimated mean of the canopy { $without } without and { $with } with more nitrogen; confirm against the farm's own yields
plan-layers = Data layers and how they were made
plan-layers-value = { $index } of { $image }, taken { $date }; { $strips } reference strips; see the appendix
plan-equations = Equations that turn layers into rates
plan-equations-value = see the appendix, "Formulas"
plan-variable = Variable rate
plan-variable-value = yes, { $zones } zones; the sheet "applied" and the machine's log show what was done
plan-nitrogen = Nitrogen of this application
plan-hashes = Units, version, hashes of inputs
plan-hashes-value = units on every number; haulm { $version }; hashes in the appendix and in record.json
plan-soil-test = Soil test: date, laboratory, nitrate, P, K, pH
plan-manure = Manure, legumes, irrigation water and earlier dressings credited
plan-sequence = Crop sequence before and after
plan-budget = Nutrient budget for N, P and K, all sources
plan-risk = Nitrogen leaching and phosphorus risk assessment
plan-soil-survey = Soil map units
plan-method = Placement and method of application
plan-water = Distances to wells, surface water, sinkholes: rule and figure
plan-local = State and local rules looked up
plan-licence = Who may write this plan here: name, licence
plan-calibration = Date of the last calibration of the machine

applied-heading = Sheet: applied
applied-text = Filled in by whoever spreads, on the day. Kept with the planned sheet and with the machine's log; what was planned is not what was applied.
applied-map = Map
applied-planned-mean = Planned mean
applied-planned-total = Planned total
applied-times = Begin and end
applied-machine = Machine, working width, speed
applied-product = Product, supplier, batch
applied-density = Density or bulk density measured
applied-weather = Temperature, wind and its direction, rain before and after
applied-ground = State of ground and crop
applied-area = Area done
applied-total = Product put out, by tank or scale
applied-weights = Weights or levels before and after each load
applied-stops = Where position was lost or the machine stopped
applied-changes = What was changed against the map, where, and why
applied-log = Name of the machine's log file

## Card

card-title = Card for the cab: { $field }
card-heading = Before the first pass
card-field = Field
card-map-id = map { $map }; the task's name ends in it
card-load = Load
card-load-value = TASKDATA folder or shapefile, never both
card-product = Product
card-column = Column
card-unit = choose the unit { $unit }
card-rates = Rates
card-mean = mean { $mean }
card-total = Total
card-by-file = { $file } { $total } { $unit }
card-start = On start
card-outside = Outside
card-lost = Position lost
card-lost-note = stop, wait for position, do not guess; note where
card-map-alt = Small map of the rates with the check points.
card-map-caption = Numbers in zones are rates in { $unit }; circles are check points.
card-points = Check points: what the screen must show
card-no-points = No zone is wide enough for a check point: compare the map on the screen with the report before you start.
card-place = Place
card-must-show = Must show
card-stop-if = Look at the check points first. If the screen shows another number, do not spread: wrong map, column, product or unit. A screen may round.
card-heading-of = Drive along (true north)
card-looks-ahead = This map looks ahead by { $by }: set the terminal's own look-ahead to 0, or rates shift twice. It does not shut off: leave that to boundary and sections. Calibrate first.
card-shut-off = The map does not look ahead and does not shut off: set look-ahead on the terminal, leave shut-off to boundary and sections, calibrate first.
card-fill-in = Fill in
card-blank-time = Begin, end
card-blank-wind = Wind, temperature
card-blank-product = Product, batch, density
card-blank-weights = Weights or levels before and after
card-blank-operator = Operator
