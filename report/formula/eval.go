package formula

import (
	"fmt"
	"math"
)

// node is a part of a formula that has a value.
type node interface{ eval(c *call) operand }

// operand is one value, or those of a column.
type operand struct {
	one  Value
	many []Value // nil for one value
}

func of(v Value) operand { return operand{one: v} }

// call is one evaluation.
type call struct {
	names *Names
	here  Here
	// arrays says that columns may stand where one value does: within SUMPRODUCT.
	arrays bool
	err    error
}

// wrong keeps the first thing that is wrong with the template itself.
func (c *call) wrong(format string, args ...any) operand {
	if c.err == nil {
		c.err = fmt.Errorf(format, args...)
	}
	return of(fault(faultValue))
}

// single is an operand that must be one value.
func (c *call) single(o operand) Value {
	if o.many != nil {
		return c.wrong("a whole column where one value belongs").one
	}
	return o.one
}

// cell is an operand as a cell holds it: a blank becomes 0, and nothing that is
// true or false is left.
func (c *call) cell(o operand) Value {
	v := c.single(o)
	switch v.Kind {
	case Blank:
		return Num(0)
	case Truth:
		return c.wrong("a cell that holds true or false").one
	}
	return v
}

func (c *call) value(n node) Value { return c.single(n.eval(c)) }

// constant is a number or a text of the template.
type constant Value

func (v constant) eval(*call) operand { return of(Value(v)) }

func (r ref) eval(c *call) operand {
	p, err := c.names.find(r, c.here)
	if err != nil {
		return c.wrong("%w", err)
	}
	if p.rows > 0 {
		return operand{many: p.values}
	}
	return of(p.values[0])
}

// operation is two operands and what joins them.
type operation struct {
	sign        string
	left, right node
}

func (o operation) eval(c *call) operand {
	left, right := o.left.eval(c), o.right.eval(c)
	if left.many == nil && right.many == nil {
		return of(combined(o.sign, left.one, right.one))
	}
	if !c.arrays {
		return c.wrong("a whole column in arithmetic outside SUMPRODUCT")
	}
	return c.each(left, right, func(a, b Value) Value { return combined(o.sign, a, b) })
}

// each applies f row by row; one value stands for as many as there are rows.
func (c *call) each(left, right operand, f func(a, b Value) Value) operand {
	rows := max(len(left.many), len(right.many))
	if left.many != nil && right.many != nil && len(left.many) != len(right.many) {
		return c.wrong("columns of %d and %d rows", len(left.many), len(right.many))
	}
	all := make([]Value, rows)
	for i := range all {
		all[i] = f(left.row(i), right.row(i))
	}
	return operand{many: all}
}

func (o operand) row(i int) Value {
	if o.many == nil {
		return o.one
	}
	return o.many[i]
}

// combined is what an operator makes of two values.
func combined(sign string, a, b Value) Value {
	if a.Kind == Fault {
		return a
	}
	if b.Kind == Fault {
		return b
	}
	switch sign {
	case "=":
		return truth(compare(a, b) == 0)
	case "<>":
		return truth(compare(a, b) != 0)
	case "<":
		return truth(compare(a, b) < 0)
	case "<=":
		return truth(compare(a, b) <= 0)
	case ">":
		return truth(compare(a, b) > 0)
	case ">=":
		return truth(compare(a, b) >= 0)
	case "&":
		return Str(a.String() + b.String())
	}
	return arithmetic(sign, a, b)
}

func arithmetic(sign string, a, b Value) Value {
	// What a comparison gives may be multiplied, as SUMPRODUCT needs it.
	if sign == "*" {
		a, b = counted(a), counted(b)
	}
	a, b = a.number(), b.number()
	switch {
	case a.Kind == Fault:
		return a
	case b.Kind == Fault:
		return b
	}
	x, y := a.Number, b.Number
	switch sign {
	case "+":
		return Num(x + y)
	case "-":
		return Num(x - y)
	case "*":
		return Num(x * y)
	case "^":
		return power(x, y)
	}
	if y == 0 {
		return fault(faultDiv)
	}
	return Num(x / y)
}

// power squares by multiplying, as the program does.
func power(x, y float64) Value {
	switch y {
	case 2:
		return Num(x * x)
	case 4:
		return Num(x * x * (x * x))
	}
	return Num(math.Pow(x, y))
}

func counted(v Value) Value {
	if v.Kind == Truth {
		v.Kind = Number
	}
	return v
}
