package formula

import (
	"math"
	"strconv"
	"strings"

	"leakback/limits/quantity"
	"leakback/stats"
)

// function is one function of spreadsheets: how many arguments it takes, and
// what it makes of them. Some look at an argument only where they need it.
type function struct {
	least, most int
	apply       func(c *call, args []node) operand
}

// application is a function with its arguments.
type application struct {
	name string
	function
	args []node
}

func (a application) eval(c *call) operand { return a.apply(c, a.args) }

// functions are those that all programs since 2007 know under these names
// (OpenDocument 1.2 part 2; ECMA-376 part 1, 18.17.7).
var functions map[string]function

func init() {
	functions = map[string]function{
		"IF":         {3, 3, choose},
		"AND":        {1, 30, every},
		"OR":         {1, 30, some},
		"ISNUMBER":   {1, 1, values(func(v []Value) Value { return truth(v[0].Kind == Number) })},
		"ISERROR":    {1, 1, values(func(v []Value) Value { return truth(v[0].Kind == Fault) })},
		"SUM":        {1, 30, over(func(x []float64) Value { return Num(sum(x)) })},
		"COUNT":      {1, 30, over(func(x []float64) Value { return Num(float64(len(x))) })},
		"MIN":        {1, 30, over(least)},
		"MAX":        {1, 30, over(most)},
		"MEDIAN":     {1, 30, over(func(x []float64) Value { return Num(stats.Median(x)) })},
		"SUMPRODUCT": {1, 10, sumProduct},
		"SUMIF":      {3, 3, sumIf},
		"INDEX":      {2, 2, index},
		"MATCH":      {3, 3, match},
		"ROUND":      {2, 2, numbers(round)},
		"INT":        {1, 1, numbers(func(x []float64) Value { return Num(math.Floor(x[0])) })},
		"ABS":        {1, 1, numbers(func(x []float64) Value { return Num(math.Abs(x[0])) })},
		"SQRT":       {1, 1, numbers(func(x []float64) Value { return Num(math.Sqrt(x[0])) })},
		"EXP":        {1, 1, numbers(func(x []float64) Value { return Num(math.Exp(x[0])) })},
		"LOG10":      {1, 1, numbers(func(x []float64) Value { return Num(math.Log10(x[0])) })},
		"LN":         {1, 1, numbers(func(x []float64) Value { return Num(math.Log(x[0])) })},
		"NORMSINV":   {1, 1, numbers(func(x []float64) Value { return Num(stats.NormalQuantile(x[0])) })},
		"CHIINV":     {2, 2, numbers(func(x []float64) Value { return Num(stats.ChiSquareQuantile(1-x[0], x[1])) })},
		"TINV":       {2, 2, numbers(studentInverse)},
		"TDIST":      {3, 3, numbers(studentTail)},
		"LEN":        {1, 1, values(func(v []Value) Value { return orFault(v[0], Num(float64(len([]rune(v[0].String()))))) })},
		"LEFT":       {2, 2, values(func(v []Value) Value { return part(v[0], 1, v[1]) })},
		"MID":        {3, 3, values(func(v []Value) Value { return part(v[0], v[1].Number, v[2]) })},
		"TRIM":       {1, 1, values(func(v []Value) Value { return orFault(v[0], Str(trimmed(v[0].String()))) })},
		"SUBSTITUTE": {3, 3, values(substitute)},
		"VALUE":      {1, 1, values(valueOf)},
		"FIXED":      {3, 3, values(fixedText)},
	}
}

// choose looks only at the side that holds.
func choose(c *call, args []node) operand {
	switch condition := counted(c.value(args[0])); {
	case condition.Kind == Fault:
		return of(condition)
	case condition.Kind != Number:
		return of(fault(faultValue))
	case condition.Number != 0:
		return args[1].eval(c)
	}
	return args[2].eval(c)
}

// every looks at all arguments, as spreadsheets do: a fault in any is a fault.
func every(c *call, args []node) operand { return logical(c, args, true) }
func some(c *call, args []node) operand  { return logical(c, args, false) }

func logical(c *call, args []node, all bool) operand {
	result := all
	for _, arg := range args {
		v := counted(c.value(arg)).number()
		if v.Kind == Fault {
			return of(v)
		}
		if yes := v.Number != 0; yes != all {
			result = yes
		}
	}
	return of(truth(result))
}

// values is a function of single values.
func values(f func([]Value) Value) func(*call, []node) operand {
	return func(c *call, args []node) operand {
		v := make([]Value, len(args))
		for i, arg := range args {
			v[i] = c.value(arg)
		}
		return of(f(v))
	}
}

// numbers is a function of single numbers. Within SUMPRODUCT its first argument
// may be a column.
func numbers(f func([]float64) Value) func(*call, []node) operand {
	return func(c *call, args []node) operand {
		first := args[0].eval(c)
		x := make([]float64, len(args))
		for i, arg := range args[1:] {
			v := c.value(arg).number()
			if v.Kind == Fault {
				return of(v)
			}
			x[i+1] = v.Number
		}
		single := func(v, _ Value) Value {
			v = v.number()
			if v.Kind == Fault {
				return v
			}
			x[0] = v.Number
			return f(x)
		}
		if first.many == nil {
			return of(single(first.one, Value{}))
		}
		if !c.arrays {
			return c.wrong("a whole column in a function of one number")
		}
		return c.each(first, of(Value{}), single)
	}
}

// over is a function of all numbers among its arguments: text and blanks in
// cells do not count.
func over(f func([]float64) Value) func(*call, []node) operand {
	return func(c *call, args []node) operand {
		var x []float64
		for _, arg := range args {
			o := arg.eval(c)
			for i := range max(1, len(o.many)) {
				switch v := o.row(i); v.Kind {
				case Number:
					x = append(x, v.Number)
				case Fault:
					return of(v)
				}
			}
		}
		return of(f(x))
	}
}

func sum(x []float64) float64 {
	total := 0.0
	for _, v := range x {
		total += v
	}
	return total
}

// least and most are 0 of nothing, as in spreadsheets.
func least(x []float64) Value {
	if len(x) == 0 {
		return Num(0)
	}
	low := x[0]
	for _, v := range x {
		low = math.Min(low, v)
	}
	return Num(low)
}

func most(x []float64) Value {
	if len(x) == 0 {
		return Num(0)
	}
	high := x[0]
	for _, v := range x {
		high = math.Max(high, v)
	}
	return Num(high)
}

// sumProduct multiplies columns row by row and adds up. Text in a column that
// stands alone as an argument counts as 0.
func sumProduct(c *call, args []node) operand {
	was := c.arrays
	c.arrays = true
	defer func() { c.arrays = was }()
	product := of(Num(1))
	for _, arg := range args {
		o := arg.eval(c)
		if _, column := arg.(ref); column {
			o = numbersOnly(o)
		}
		if product.many != nil && o.many == nil {
			return c.wrong("one value where SUMPRODUCT needs a column")
		}
		product = c.each(product, o, func(a, b Value) Value { return combined("*", a, b) })
	}
	total := 0.0
	for _, v := range product.many {
		if v.Kind == Fault {
			return of(v)
		}
		total += v.Number
	}
	return of(Num(total))
}

func numbersOnly(o operand) operand {
	all := make([]Value, len(o.many))
	for i, v := range o.many {
		all[i] = Num(0)
		if v.Kind == Number || v.Kind == Fault {
			all[i] = v
		}
	}
	return operand{many: all}
}

// sumIf adds up where a column equals a value.
func sumIf(c *call, args []node) operand {
	where, what, amounts := args[0].eval(c), c.value(args[1]), args[2].eval(c)
	if len(where.many) != len(amounts.many) {
		return c.wrong("SUMIF over columns of %d and %d rows", len(where.many), len(amounts.many))
	}
	if what.Kind == Fault {
		return of(what)
	}
	total := 0.0
	for i, v := range where.many {
		if v.Kind != what.Kind || compare(v, what) != 0 {
			continue
		}
		switch amount := amounts.many[i]; amount.Kind {
		case Fault:
			return of(amount)
		case Number:
			total += amount.Number
		}
	}
	return of(Num(total))
}

// index is the i-th cell of a column.
func index(c *call, args []node) operand {
	column, at := args[0].eval(c), c.value(args[1]).number()
	if at.Kind == Fault {
		return of(at)
	}
	i := int(at.Number)
	if i < 1 || i > len(column.many) {
		return of(fault(faultRef))
	}
	return of(column.many[i-1])
}

// match is the first place of a value in a column; only the exact kind.
func match(c *call, args []node) operand {
	what, column := c.value(args[0]), args[1].eval(c)
	if kind := c.value(args[2]); kind.Kind != Number || kind.Number != 0 {
		return c.wrong("MATCH of another kind than 0")
	}
	if what.Kind == Fault {
		return of(what)
	}
	for i, v := range column.many {
		if v.Kind == what.Kind && compare(v, what) == 0 {
			return of(Num(float64(i + 1)))
		}
	}
	return of(fault(faultNone))
}

func round(x []float64) Value {
	if x[1] == 6 {
		return Num(stats.Round6(x[0]))
	}
	y, err := strconv.ParseFloat(quantity.Fixed(x[0], int(x[1])), 64)
	if err != nil {
		return fault(faultNum)
	}
	return Num(y)
}

// studentInverse is the two-sided quantile: TINV(0.1, nu) leaves 5 % on either side.
func studentInverse(x []float64) Value {
	if x[0] == 0.1 && x[1] == math.Trunc(x[1]) && x[1] >= 1 && x[1] <= stats.MaxDoF {
		return Num(stats.T95(x[1]))
	}
	return Num(stats.StudentQuantile(1-x[0]/2, x[1]))
}

// studentTail is the upper tail of x >= 0, times the sides asked for.
func studentTail(x []float64) Value {
	if x[0] < 0 {
		return fault(faultNum)
	}
	return Num(x[2] * stats.StudentCDF(-x[0], x[1]))
}

func part(text Value, from float64, count Value) Value {
	if text.Kind == Fault {
		return text
	}
	runes := []rune(text.String())
	start := min(int(from)-1, len(runes))
	end := min(start+int(count.Number), len(runes))
	if start < 0 || end < start {
		return fault(faultValue)
	}
	return Str(string(runes[start:end]))
}

// trimmed takes spaces away at both ends, and all but one within.
func trimmed(text string) string {
	return strings.Join(strings.FieldsFunc(text, func(r rune) bool { return r == ' ' }), " ")
}

// orFault is v, or the fault of what it was made from.
func orFault(from, v Value) Value {
	if from.Kind == Fault {
		return from
	}
	return v
}

func substitute(v []Value) Value {
	return orFault(v[0], Str(strings.ReplaceAll(v[0].String(), v[1].String(), v[2].String())))
}

func valueOf(v []Value) Value {
	if v[0].Kind == Fault {
		return v[0]
	}
	x, err := strconv.ParseFloat(v[0].String(), 64)
	if err != nil {
		return fault(faultValue)
	}
	return Num(x)
}

// fixedText is a number with so many decimals, without marks for thousands.
func fixedText(v []Value) Value {
	x := v[0].number()
	if x.Kind == Fault {
		return x
	}
	return Str(quantity.Fixed(x.Number, int(v[1].Number)))
}
