package dashboards

import (
	"fmt"

	"scanledger/queries"
)

func methodsPage(b *queries.Book, _ Business) Page {
	return Page{
		Title:    "Methods",
		Heading:  "What the words mean, and what the figures cannot say",
		Lead:     "Read this before quoting a figure. A figure without its count and its interval is not quoted from here.",
		Sections: []Section{cautionSection(), wordsSection(b), statisticsSection(b), catalogueSection(b)},
	}
}

func cautionSection() Section {
	return Section{ID: "cautions", Heading: "Cautions", Paragraphs: []string{
		"A clear reading never proves absence. It says that no movement was shown at the points and settings listed, on that day.",
		"Do not open or treat on a movement reading alone; confirm by a second sign. Movement is shown by water in pipes, fans, people, animals, loose sheet and an unsteady hold as well.",
		"Old fibre-cement sheet may hold asbestos: treat it as suspect by age until tested, use no power tools on it, and take the precautions your local authority asks for before any opening.",
		"Before drilling or cutting, locate and isolate cables and pipes. Roof voids and subfloors can be hot, unsafe to stand on, live, or short of air; tell someone where you are.",
		"Termite chemicals are for licensed people, by the label. A sensor is not pointed at people.",
		"Local codes and licensed practice decide in all of this.",
	}}
}

func wordsSection(b *queries.Book) Section {
	terms := [][2]string{
		{"Movement shown, no movement shown, unclear", "The calls active, clear and unsure, in words for customers."},
		{"Reading", "One hold of the sensor on a point at one gain step. Readings on places known to be clear (control readings) count in no rate."},
		{"Point-visit", "One point in one inspection. Its call is its last reading that is not unsure."},
		{"Verified", "A decisive finding (opened, drilled or borescope) at the point, from the visit's local date to the end of the truth window. A report or a return visit is shown apart and never pooled with these."},
		{"False alarm", "An active call where the decisive findings were not active."},
		{"Missed", "A clear call where a decisive finding was active."},
		{"Season", "By the region's own scheme: December to February is summer in the south and winter in the north; wet and dry where the region has those. A season over New Year belongs to the year of its January."},
		{"Month", "Local to the region."},
		{"As of", fmt.Sprintf("Only what had been received by %s is seen, so that a report can be made again.", b.AsOf)},
	}
	t := Table{ID: "words-table", Caption: "Words used on these pages", Columns: []Column{{Head: "Word"}, {Head: "Meaning"}}}
	for _, w := range terms {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(w[0]), text(w[1])}})
	}
	return Section{ID: "words", Heading: "Words", Tables: []Table{t}}
}

func statisticsSection(b *queries.Book) Section {
	return Section{ID: "statistics", Heading: "How sure the figures are", Paragraphs: []string{
		"Every rate carries a 95% interval. Detection rates take sites as clusters, since points of one site are alike: the interval is the exact one on the effective number of points (Korn and Graubard 1998). The design effect says how much wider it is than for independent points.",
		fmt.Sprintf("A rate is held back, and drawn hatched, where there are fewer than %d cases or where the interval is too wide (NCHS presentation standards for proportions, Vital and Health Statistics 2(175), 2017).", b.Floor),
		"Shares of verified calls take sites as clusters likewise. Sensitivity and specificity are corrected for which points were ever checked (Begg and Greenes 1983), within strata of material, density and whether another visit called the point active; their intervals are linearised with sites as clusters (Liang and Zeger 1986), and the naive figures stand beside them. Strata with calls of a kind that were never checked are merged.",
		"Openings still needed are worked out from the variance of the corrected sensitivity, of which only the part from checking clear calls shrinks; they hold if what was found so far holds, and only for openings drawn at random.",
		"Technicians are set against all the others with exact binomial limits at 95% and 99.8% (Spiegelhalter 2005); the interval of observed over expected is exact Poisson (Garwood 1936); q controls the false discovery rate (Benjamini and Hochberg 1995).",
		"Patterns of wrong calls are sought among all single circumstances, pairs and triples with enough checked calls. Each is held against a model of the other calls (who works where; for people and units the conditions) by a score test (Rao 1948) with a saddlepoint tail (Barndorff-Nielsen 1986) and sites as clusters; people, units and regions must stand clear of what they differ by anyway (Spiegelhalter 2005). q bears how many patterns were tried (Benjamini and Hochberg 1995), singles, pairs and triples weighing the same together (Genovese, Roeder and Wasserman 2006). A pattern no worse than a simpler one is given up for it, and what one explains is not listed again.",
		"Two calls of the same points are compared by Cohen's kappa (1960), AC1 (Gwet 2008) and, for all technicians together, Krippendorff's alpha (2011), each with sites as clusters; who calls more often is tested exactly over sites (McNemar 1947). Agreement is no truth: two people may agree and both be wrong.",
		"Use of gain is compared by the Jensen-Shannon distance of the mixes of steps on the same materials and models, with seeded permutations of whole visits (Lin 1991; Phipson and Smyth 2010).",
		"A unit's expected false alarms are those the other units in service would give at the same points, by material, season within region, technician and the technician's half-year (Breslow and Day 1987); limits widen with how much sites, and the other units, differ (Spiegelhalter 2005).",
		fmt.Sprintf("How inspections were done is compared check by check: a technician's breaches with the others' by Fisher's exact test (1935), on counts divided by the design effect of sites (Rao and Scott 1992), with the false discovery rate controlled over all checks (Benjamini and Hochberg 1995). Levels count as copied only where chance, at that person's own resolution, would repeat such a sequence with a probability of at most %g. Last digits are judged against even shares and against the others with the same model (Pearson 1900).", b.Settings.Value("copy_chance")),
		"Inspected houses are not a sample of houses, and tested points not a sample of points: no share here is a rate of infestation, and a difference between regions may be a difference in who calls.",
	}}
}

func catalogueSection(b *queries.Book) Section {
	t := Table{ID: "catalogue", Caption: "Every result with its question and files", Columns: []Column{{Head: "Result"}, {Head: "Question"}, {Head: "One row"}, {Head: "Files"}, {Head: "Query"}}}
	for _, r := range b.Results {
		t.Rows = append(t.Rows, Row{Cells: []Cell{text(r.Analysis), text(r.Question), text(r.Query.Grain),
			{Text: "CSV", Href: "results/" + r.Analysis + ".csv"}, {Text: "SQL", Href: "queries/" + r.Analysis + ".sql"}}})
	}
	return Section{ID: "results", Heading: counted(int64(len(b.Results)), "result", "results") + " behind these pages", Tables: []Table{t}}
}
