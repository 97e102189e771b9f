package report

import (
	"strings"

	"leakback/leakback"
)

// perCylinder adds up a column of a table with a row a reading, over the
// readings of a row's cylinder.
func perCylinder(column string) string { return "SUMIF(reads[cylinder],[cylinder]," + column + ")" }

// fromReadings is the block that makes rates of readings.
func (w *working) fromReadings() {
	w.begin("From each reading to a rate",
		"One row a reading. A reading that the tube could not hold (>) is a lower bound, one below the first mark (<) an "+
			"upper bound; where nothing came back, the first mark is the upper bound. Nothing stands for a cylinder that was not read.",
		"rate = 60 × (level − start) ÷ time")
	w.figures(one{"decimal_sign", "decimal sign of your program", "", `MID(1/2,2,1)`, inWords, "for volumes typed as text"})
	const (
		sign  = `IF(LEFT(TRIM(in.volume),1)=">",">",IF(LEFT(TRIM(in.volume),1)="<","<",""))`
		typed = `VALUE(SUBSTITUTE(SUBSTITUTE(TRIM(MID(TRIM(in.volume),1+LEN([sign]),99)),",","."),".",decimal_sign))`
	)
	w.table("reads", w.rows,
		live("run", "run", asCount, `in.run`),
		w.whose(),
		live("read", "read?\n1 yes", asCount, `IF(LEN(TRIM(in.volume))=0,0,1)`),
		live("sign", "bound\nas typed", inWords, sign),
		live("level", "level\nmL", asEntered, `IF(ISNUMBER(in.volume),in.volume,IF([read]=0,0,`+typed+`))`),
		live("start", "start\nmL", asEntered, `IF(in.start="",0,in.start)`),
		live("levels", "levels\nread", asCount, `IF(in.start="",1,2)`),
		live("interval", "time\ns", asEntered, w.known(`in.interval`, `60`)),
		live("net", "level less\nstart, mL", asRate, `IF([read]=1,[level]-[start],0)`),
		live("over", "lower\nbound?", asCount, `IF([sign]=">",1,0)`),
		live("below", "upper\nbound?", asCount, `IF(OR([read]=0,[sign]=">"),0,IF(OR([sign]="<",ROUND([net],6)<=0),1,0))`),
		live("zero", "nothing\nback?", asCount, `IF(AND([read]=1,[sign]="",ROUND([net],6)<=0),1,0)`),
		live("used", "volume\nused, mL", asRate, `IF(AND([read]=1,[sign]<>">",ROUND([net],6)<=0),in.mark,[net])`),
		live("rate", "rate\nmL/min", asRate, `60*[used]/[interval]`),
		live("entry", "wrong entry", inWords, w.wrongEntry()),
	)
	w.figures(one{"entries_wrong", "entries that cannot be right", "", `SUMPRODUCT((reads[entry]<>"")*1)`, asCount, ""})
	w.partsOfReadings()
}

// whose is the column that says what a reading is of.
func (w *working) whose() field {
	switch w.r.Test.Method {
	case leakback.MethodBlockOff:
		return live("blocked", "blocked", inWords, `in.blocked&""`)
	case leakback.MethodTotal:
		return live("cylinder", "return\nline", asCount, w.numberOfLine())
	}
	return live("cylinder", "cylinder", asCount, `in.cylinder`)
}

// wrongEntry is wrongEntry for the readings of this test: those of a merged
// return are of no cylinder, and what was not read has no tube.
func (w *working) wrongEntry() string {
	entry := strings.ReplaceAll(wrongEntry, "in.TIME", w.known(`in.interval`, `[interval]`))
	if w.r.Test.Method != leakback.MethodIndividual {
		entry = strings.Replace(entry, `in.cylinder=""`, `[read]=0`, 1)
	}
	return entry
}

// known is a formula, or another where the length of the collection is unknown.
func (w *working) known(formula, unknown string) string {
	if w.unknownTime {
		return unknown
	}
	return formula
}

// differsFromFirst says whether what a reading's row says of its run is other
// than in the run's first row.
const differsFromFirst = `OR(in.interval<>INDEX(in[interval],MATCH(in.run,in[run],0)),` +
	`in.cranks<>INDEX(in[cranks],MATCH(in.run,in[run],0)),in.fuel<>INDEX(in[fuel],MATCH(in.run,in[run],0)),` +
	`in.rail<>INDEX(in[rail],MATCH(in.run,in[run],0)),in.back<>INDEX(in[back],MATCH(in.run,in[run],0)),` +
	`in.rpm<>INDEX(in[rpm],MATCH(in.run,in[run],0)),in.injectors<>INDEX(in[injectors],1))`

// wrongEntry is what of a reading's entries cannot be right, as the program
// would refuse it.
const wrongEntry = `IF(in.cylinder="","",IF(ISERROR([level]),"volume",` +
	`IF(AND(ISNUMBER(in.TIME),ISNUMBER(in.mark),ISNUMBER(in.tolerance)),` +
	`IF(OR(in.TIME<=0,in.mark<=0,in.tolerance<0),"time or tube",IF(` + differsFromFirst + `,"unlike its run",` +
	`IF([read]=0,"",IF(OR([start]<0,[level]<[start],AND([sign]=">",[level]=[start])),"start level",` +
	`IF(AND(ISNUMBER(in.capacity),[level]>in.capacity),"above tube",""))))),"time or tube")))`

// partsOfReadings is what each reading adds to uncertainties.
func (w *working) partsOfReadings() {
	w.begin("What each reading adds to the uncertainty",
		"Squares, where they are added so. The time counts from the start to the stop of the flow, both known to timing_s, "+
			"in each of the cranks.",
		"reading: levels × (60 × mark ÷ time)² ÷ 12;   tube: 60 × tolerance ÷ time;   timing: (rate × time's uncertainty ÷ time)²")
	fields := []field{
		live("run", "run", asCount, `in.run`),
		w.whose(),
		live("mark", "mark\nmL", asEntered, `in.mark`),
		live("tolerance", "tolerance\nmL", asEntered, `in.tolerance`),
		live("cranks", "cranks", asCount, `MAX(1,in.cranks)`),
		live("timing", "time's\nuncert., s", asRate, w.known(`timing_s*SQRT(2*[cranks])`, `0`)),
		live("reading", "reading²\n(mL/min)²", asShare, `IF(reads.read=1,reads.levels*(60*[mark]/reads.interval)^2/12,0)`),
		live("tube", "tube\nmL/min", asRate, `IF(reads.read=1,60*[tolerance]/reads.interval,0)`),
		live("first", "first mark\nmL/min", asRate, `IF(reads.read=1,60*[mark]/reads.interval,0)`),
		live("marks", "volume\nmarks", asRate, `IF(reads.read=1,reads.used/[mark],0)`),
	}
	if w.repeated() {
		fields = append(fields,
			live("own", "reading²\nrelative", asShare, `IF(reads.used>0,reads.levels*([mark]/reads.used)^2/12,0)`),
			live("time", "timing²\nrelative", asShare, `IF(reads.read=1,([timing]/reads.interval)^2,0)`))
	}
	w.table("parts", w.rows, fields...)
}

// fromCylinders is what each cylinder's readings come to.
func (w *working) fromCylinders() {
	w.begin("What is known of each "+w.member(),
		"A mean over runs that holds a bound is that bound; one that holds both kinds counts as unread.", "")
	w.table("cyl", len(w.numbers()), w.cylinders(),
		live("runs", "runs\nread", asCount, perCylinder("reads[read]")),
		live("over", "lower\nbounds", asCount, perCylinder("reads[over]")),
		live("below", "upper\nbounds", asCount, perCylinder("reads[below]")),
		live("zero", "nothing\nback", asCount, perCylinder("reads[zero]")),
		live("kind", "known as", inWords, `IF([runs]=0,"unread",IF(AND([over]>0,[below]>0),"unread",`+
			`IF([over]>0,"at least",IF([below]>0,"at most","plain"))))`),
		live("readable", "can be\nread?", asCount, `IF([kind]="unread",0,1)`),
		live("plain", "plain?", asCount, `IF([kind]="plain",1,0)`),
	)
	w.figures(
		one{"readable_count", "cylinders that can be read", "", `SUM(cyl[readable])`, asCount, ""},
		one{"plain_count", "of them plain", "", `SUM(cyl[plain])`, asCount, "without a bound"},
	)
	w.further("parts",
		live("readable", "cylinder\nreadable?", asCount, `SUMIF(cyl[cylinder],[cylinder],cyl[readable])`),
		live("plain", "cylinder\nplain?", asCount, `SUMIF(cyl[cylinder],[cylinder],cyl[plain])`))
}

// fromRuns is whether the runs are shared by all cylinders.
func (w *working) fromRuns() {
	w.begin("The runs",
		"What a run does to all its cylinders cancels between them where every cylinder was read in the same runs; otherwise it "+
			"counts as each cylinder's own.", "")
	w.table("runs", len(w.runs),
		fixedCount("run", "run", func(i int) int { return w.runs[i] }),
		live("interval", "time\ns", asEntered, `INDEX(reads[interval],MATCH([run],reads[run],0))`),
		live("timing", "time's\nuncert., s", asRate, `INDEX(parts[timing],MATCH([run],reads[run],0))`),
		live("read", "cylinders\nread", asCount, `SUMPRODUCT((reads[run]=[run])*reads[read]*parts[readable])`),
	)
	w.figures(
		one{"run_count", "runs", "", `COUNT(runs[run])`, asCount, ""},
		one{"shared_runs", "read in the same runs? 1 yes", "",
			`IF(SUMPRODUCT((runs[read]>0)*(runs[read]<readable_count))=0,1,0)`, asCount, ""},
	)
}

// fromDrift takes out a drift over the runs, which only several runs can have.
func (w *working) fromDrift() {
	if !w.repeated() {
		w.figures(one{"drift_unknown", "drift cannot be told? 1 yes", "", `0`, asCount, "one run"})
		return
	}
	w.begin("Drift over the runs",
		"Only where cylinders were not read in the same runs: then what drifts looks like a cylinder's own. Where plain readings "+
			"repeat a cylinder, the same drift of ln(rate) for all is fitted to them and every rate brought to the middle of the runs; "+
			"otherwise it is unknown.",
		"drift = sum of (place − its mean of the cylinder) × (ln(rate) − its mean) ÷ sum of (place − its mean)²")
	whenPlain := func(formula string) string { return `IF([plain]=1,` + formula + `,0)` }
	mean := func(column string) string {
		return whenPlain(`SUMIF(drift[cylinder],[cylinder],drift[` + column + `])/SUMIF(drift[cylinder],[cylinder],drift[plain])`)
	}
	w.table("drift", w.rows,
		live("run", "run", asCount, `in.run`),
		live("cylinder", "cylinder", asCount, `in.cylinder`),
		fixedCount("place", "place\nin time", func(i int) int { return w.inTime[i] }),
		live("plain", "plain\nreading?", asCount, `IF(AND(reads.read=1,reads.over=0,reads.below=0),1,0)`),
		live("at", "place,\nplain", asCount, whenPlain(`[place]`)),
		live("log", "ln(rate)", asShare, whenPlain(`LN(reads.rate)`)),
		live("off", "place less\nits mean", asShare, whenPlain(`[at]-`+mean("at"))),
		live("apart", "ln(rate) less\nits mean", asShare, whenPlain(`[log]-`+mean("log"))),
		live("read", "place,\nread", asCount, `IF(reads.read=1,[place],0)`))
	w.driftFigures()
}

// driftFigures are the drift and what it makes of each reading.
func (w *working) driftFigures() {
	w.figures(
		one{"drift_squares", "sum of (place − its mean)²", "", `SUMPRODUCT(drift[off],drift[off])`, asShare, ""},
		one{"drift_fitted", "drift taken out? 1 yes", "", `IF(AND(shared_runs=0,ROUND(drift_squares,9)>0),1,0)`, asCount, ""},
		one{"drift_unknown", "drift cannot be told? 1 yes", "", `IF(AND(shared_runs=0,drift_fitted=0),1,0)`, asCount, ""},
		one{"drift_step", "drift of ln(rate) from place to place", "",
			`IF(drift_fitted=1,SUMPRODUCT(drift[off],drift[apart])/drift_squares,0)`, asShare, ""},
		one{"drift_middle", "the middle of the runs", "", `IF(drift_fitted=1,SUM(drift[at])/SUM(drift[plain]),0)`, asRate, "mean place"},
	)
	w.further("drift", live("rate", "rate, drift\nout, mL/min", asRate,
		`IF(AND(drift_fitted=1,reads.read=1),EXP(LN(reads.rate)-drift_step*([place]-drift_middle)),reads.rate)`))
	w.further("cyl", live("extra", "drift adds,\nrelative", asShare, `IF(AND(drift_fitted=1,[runs]>0),`+
		`[runs]*(`+perCylinder("drift[read]")+`/[runs]-drift_middle)^2/drift_squares,0)`))
}

// rate is the column of the readings' rates that everything after the drift
// starts from, within a table or of the same reading.
func (w *working) rate(whole bool) string {
	table := "reads"
	if w.repeated() {
		table = "drift"
	}
	if whole {
		return table + "[rate]"
	}
	return table + ".rate"
}

// widened is a formula for a squared part that averages down, with what taking
// drift out adds to it.
func (w *working) widened(square string) string {
	if !w.repeated() {
		return square
	}
	return square + `*(1+cyl.extra)`
}

// rates is the rate of each cylinder, and of all plain ones in each run.
func (w *working) rates() {
	w.begin("The rate of each "+w.member(),
		"The mean over its runs. Where a number is needed for an upper bound, half of it stands. Ranks are taken of figures "+
			"rounded to 6 decimals.",
		"rate = sum of its rates ÷ its runs")
	mean := func(column string) string { return whenReadable(perCylinder(column) + `/cyl.runs`) }
	w.table("mean", len(w.numbers()), w.cylinders(),
		live("rate", "rate\nmL/min", asRate, mean(w.rate(true))),
		live("number", "number\nmL/min", asRate, `IF(cyl.kind="at most",[rate]/2,[rate])`),
		live("ordered", "rounded,\nto rank", asShare, whenReadable(`ROUND([number],6)`)),
		live("first", "first mark\nmL/min", asRate, mean("parts[first]")),
		live("marks", "volume\nmarks", asRate, mean("parts[marks]")))
	w.further("parts", live("timing2", "timing²\n(mL/min)²", asShare, `(`+w.rate(false)+`*[timing]/reads.interval)^2`))
	w.further("runs",
		live("total", "sum of plain\nmL/min", asRate, `SUMPRODUCT((reads[run]=[run])*`+w.rate(true)+`*parts[plain])`),
		live("total2", "its timing²\n(mL/min)²", asShare, `([total]*[timing]/[interval])^2`))
}
