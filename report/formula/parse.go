package formula

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// kind is the kind of a token.
type kind int8

const (
	kindEnd kind = iota
	kindNumber
	kindText
	kindRef
	kindCall // a function's name, without its bracket
	kindSign // operators, brackets and commas
)

type token struct {
	kind kind
	text string // as it stands in the formula
	ref  ref
}

var (
	blanks  = regexp.MustCompile(`^\s+`)
	numeral = regexp.MustCompile(`^[0-9]+(\.[0-9]+)?`)
	quoted  = regexp.MustCompile(`^"([^"]|"")*"`)
	caller  = regexp.MustCompile(`^[A-Z]+[0-9]*\(`)
	own     = regexp.MustCompile(`^\[(up:)?([a-z0-9_]+)\]`)
	whole   = regexp.MustCompile(`^([a-z0-9_]+)\[([a-z0-9_]+)\]`)
	peer    = regexp.MustCompile(`^([a-z0-9_]+)\.([a-z0-9_]+)`)
	figure  = regexp.MustCompile(`^[a-z0-9]+_[a-z0-9_]+`)
	sign    = regexp.MustCompile(`^(<=|>=|<>|[-+*/^&=<>(),])`)
)

// next reads one token and gives how long it is; 0 where there is none.
func next(text string) (token, int) {
	if found := numeral.FindString(text); found != "" {
		return token{kind: kindNumber, text: found}, len(found)
	}
	if found := quoted.FindString(text); found != "" {
		return token{kind: kindText, text: found}, len(found)
	}
	if found := caller.FindString(text); found != "" {
		return token{kind: kindCall, text: strings.TrimSuffix(found, "(")}, len(found) - 1
	}
	if found := own.FindStringSubmatch(text); found != nil {
		return token{kind: kindRef, ref: ref{column: found[2], up: len(found[1]) / len("up:")}}, len(found[0])
	}
	if found := whole.FindStringSubmatch(text); found != nil {
		return token{kind: kindRef, ref: ref{table: found[1], column: found[2], whole: true}}, len(found[0])
	}
	if found := peer.FindStringSubmatch(text); found != nil {
		return token{kind: kindRef, ref: ref{table: found[1], column: found[2]}}, len(found[0])
	}
	if found := figure.FindString(text); found != "" {
		return token{kind: kindRef, ref: ref{figure: found}}, len(found)
	}
	found := sign.FindString(text)
	return token{kind: kindSign, text: found}, len(found)
}

// parser reads a template by descent, one method for each strength of
// operators.
type parser struct {
	tokens []token
	at     int
}

func parse(template string) (*formula, error) {
	var p parser
	rest := template
	for rest != "" {
		if space := blanks.FindString(rest); space != "" {
			rest = rest[len(space):]
			continue
		}
		t, length := next(rest)
		if length == 0 {
			return nil, fmt.Errorf("nothing a formula can hold: %q", rest)
		}
		p.tokens, rest = append(p.tokens, t), rest[length:]
	}
	root, err := p.comparison()
	if err == nil && p.at < len(p.tokens) {
		err = fmt.Errorf("an end expected at %q", p.tokens[p.at].text)
	}
	if err != nil {
		return nil, err
	}
	return &formula{tokens: p.tokens, root: root}, nil
}

func (p *parser) peek() token {
	if p.at < len(p.tokens) {
		return p.tokens[p.at]
	}
	return token{}
}

// take steps over one of the signs and gives it; "" where another stands there.
func (p *parser) take(signs ...string) string {
	if t := p.peek(); t.kind == kindSign {
		for _, sign := range signs {
			if t.text == sign {
				p.at++
				return sign
			}
		}
	}
	return ""
}

// binary reads operands joined by any of the signs, from left to right.
func (p *parser) binary(operand func() (node, error), signs ...string) (node, error) {
	left, err := operand()
	for err == nil {
		sign := p.take(signs...)
		if sign == "" {
			return left, nil
		}
		var right node
		if right, err = operand(); err == nil {
			left = operation{sign, left, right}
		}
	}
	return nil, err
}

// Weakest first, as spreadsheets have it (OpenDocument 1.2 part 2, 5.5).
func (p *parser) comparison() (node, error) {
	return p.binary(p.joining, "=", "<>", "<=", ">=", "<", ">")
}
func (p *parser) joining() (node, error) { return p.binary(p.sum, "&") }
func (p *parser) sum() (node, error)     { return p.binary(p.product, "+", "-") }
func (p *parser) product() (node, error) { return p.binary(p.power, "*", "/") }
func (p *parser) power() (node, error)   { return p.binary(p.negation, "^") }

// negation binds stronger than a power: -2^2 is 4.
func (p *parser) negation() (node, error) {
	if p.take("-") == "" {
		return p.primary()
	}
	x, err := p.negation()
	return operation{"-", constant(Num(0)), x}, err
}

func (p *parser) primary() (node, error) {
	t := p.peek()
	p.at++
	switch t.kind {
	case kindNumber:
		x, err := strconv.ParseFloat(t.text, 64)
		return constant(Num(x)), err
	case kindText:
		text := t.text[1 : len(t.text)-1]
		return constant(Str(strings.ReplaceAll(text, `""`, `"`))), nil
	case kindRef:
		return t.ref, nil
	case kindCall:
		return p.function(t.text)
	}
	if t.text != "(" {
		return nil, fmt.Errorf("a value expected at %q", t.text)
	}
	x, err := p.comparison()
	if err == nil && p.take(")") == "" {
		err = errors.New("a closing bracket expected")
	}
	return x, err
}

// function reads the arguments of a function behind its name.
func (p *parser) function(name string) (node, error) {
	f, ok := functions[name]
	if !ok {
		return nil, fmt.Errorf("no function %s", name)
	}
	p.take("(") // the token of the name saw it
	var args []node
	for p.take(")") == "" {
		if len(args) > 0 && p.take(",") == "" {
			return nil, fmt.Errorf("a comma expected in %s", name)
		}
		arg, err := p.comparison()
		if err != nil {
			return nil, err
		}
		args = append(args, arg)
	}
	if len(args) < f.least || len(args) > f.most {
		return nil, fmt.Errorf("%s with %d arguments", name, len(args))
	}
	return application{name, f, args}, nil
}
