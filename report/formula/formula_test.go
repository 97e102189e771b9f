package formula_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/report/formula"
	"leakback/stats/reference"
)

// sample knows a table t of three rows on the sheet Working, another u, and two
// figures.
func sample(t *testing.T) *formula.Names {
	t.Helper()
	n := formula.NewNames()
	table, err := n.Table("t", "Working", 5, 3)
	require.NoError(t, err)
	table.Column("x", 2, []formula.Value{formula.Num(3), formula.Num(1), formula.Num(2)})
	table.Column("words", 3, []formula.Value{formula.Str("a"), formula.Str("B"), formula.Str("")})
	table.Column("some", 27, []formula.Value{formula.Num(7), {}, formula.Str("")})
	other, err := n.Table("u", "Readings", 2, 3)
	require.NoError(t, err)
	other.Column("y", 4, []formula.Value{formula.Num(10), formula.Num(20), formula.Num(30)})
	require.NoError(t, n.Figure("a_half", "Limits", 4, 9, formula.Num(0.5)))
	require.NoError(t, n.Figure("a_word", "Limits", 4, 10, formula.Str("fail")))
	return n
}

// second is the second row of t, in column F.
var second = formula.Here{Sheet: "Working", Col: 6, Row: 6, Table: "t", Index: 1}

// What is of the same row is relative, what is not is fixed, a figure goes by its
// name.
func TestText(t *testing.T) {
	n := sample(t)
	for template, want := range map[string]string{
		`[x]`:                           `B6`,
		`[up:x]`:                        `$B$5`,
		`u.y`:                           `Readings!D3`,
		`t[x]`:                          `$B$5:$B$7`,
		`[some]`:                        `AA6`,
		`SUM(u[y])*a_half`:              `SUM(Readings!$D$2:$D$4)*a_half`,
		`IF([x] >= 2, "say ""so""", 0)`: `IF(B6>=2,"say ""so""",0)`,
		`SUMPRODUCT((t[x]>1)*u[y])`:     `SUMPRODUCT(($B$5:$B$7>1)*Readings!$D$2:$D$4)`,
	} {
		text := template
		if template[0] == '[' || template[0] == 't' || template[0] == 'u' {
			text = "SUM(" + template + ")"
			want = "SUM(" + want + ")"
		}
		got, _, err := n.Fill(text, second)
		require.NoError(t, err, template)
		assert.Equal(t, want, got, template)
	}
}

// Values as spreadsheets have them (OpenDocument 1.2 part 2; ECMA-376 part 1,
// 18.17; the same in LibreOffice, see the report's tests).
func TestValue(t *testing.T) {
	n := sample(t)
	for template, want := range map[string]formula.Value{
		`1+2*3^2`:                               formula.Num(19),
		`2^3^2`:                                 formula.Num(64), // from left to right
		`-2^2`:                                  formula.Num(4),  // the sign binds stronger
		`(1+2)*3-4/2`:                           formula.Num(7),
		`1/3&""`:                                formula.Str("0.333333333333333"),
		`0.1+0.2&"x"`:                           formula.Str("0.3x"),
		`IF("FAIL"=a_word,1,0)`:                 formula.Num(1), // without regard to case
		`IF([some]="",1,0)`:                     formula.Num(1), // a blank is empty text
		`IF([some]=0,1,0)`:                      formula.Num(1), // and zero
		`IF("a">5,1,0)`:                         formula.Num(1), // text after numbers
		`IF(2>1,"yes",1/0)`:                     formula.Str("yes"),
		`IF(AND(1,1>0),IF(OR(0,1>2),1,2),3)`:    formula.Num(2),
		`IF(ISERROR(1/0),1,0)`:                  formula.Num(1),
		`IF(ISNUMBER(""),1,0)`:                  formula.Num(0),
		`SUM(t[some])`:                          formula.Num(7),
		`COUNT(t[some])`:                        formula.Num(1),
		`MAX(t[words])`:                         formula.Num(0), // of nothing
		`MEDIAN(t[x])`:                          formula.Num(2),
		`MEDIAN(1,2,3,4)`:                       formula.Num(2.5),
		`SUMIF(t[words],"b",u[y])`:              formula.Num(20),
		`SUMPRODUCT(t[x],u[y])`:                 formula.Num(110),
		`SUMPRODUCT(t[some],u[y])`:              formula.Num(70), // text counts as 0
		`SUMPRODUCT((ROUND(t[x]/2,6)>=1)*u[y])`: formula.Num(40),
		`INDEX(u[y],MATCH(MIN(t[x]),t[x],0))`:   formula.Num(20),
		`ROUND(1.0000005,6)`:                    formula.Num(1.000001), // half away from zero
		`ROUND(-2.5,0)`:                         formula.Num(-3),
		`INT(-1.5)`:                             formula.Num(-2),
		`VALUE(SUBSTITUTE(TRIM("  2,5 "),",","."))`: formula.Num(2.5),
		`MID(1/2,2,1)`:              formula.Str("."),
		`LEFT(">100",1)&LEN("äöü")`: formula.Str(">3"),
		`MID("",2,9)`:               formula.Str(""),
		`FIXED(1234.565,2,1)`:       formula.Str("1234.57"),
		`TDIST(0,5,1)`:              formula.Num(0.5),
		`[some]`:                    formula.Num(0), // a blank that a cell refers to
	} {
		_, got, err := n.Fill(template, second)
		require.NoError(t, err, template)
		assert.Equal(t, want.Kind, got.Kind, template)
		assert.Equal(t, want.Text, got.Text, template)
		assert.InDelta(t, want.Number, got.Number, 1e-12, template)
	}
}

func TestFaults(t *testing.T) {
	n := sample(t)
	for template, want := range map[string]string{
		`1/0`: "#DIV/0!", `SQRT(-1)`: "#NUM!", `LN(0)`: "#NUM!", `""+1`: "#VALUE!", `IF("",1,2)`: "#VALUE!",
		`MATCH(9,t[x],0)`: "#N/A", `INDEX(t[x],4)`: "#REF!", `VALUE("x")`: "#VALUE!", `SUM(1/0,1)`: "#DIV/0!",
		`TDIST(-1,5,1)`: "#NUM!", `AND(1/0,0)`: "#DIV/0!", `SUMPRODUCT((t[words]*1)*u[y])`: "#VALUE!",
	} {
		_, got, err := n.Fill(template, second)
		require.NoError(t, err, template)
		assert.Equal(t, formula.Value{Kind: formula.Fault, Text: want}, got, template)
	}
}

// What some programs take and others do not is refused.
func TestRefused(t *testing.T) {
	n := sample(t)
	for template, part := range map[string]string{
		`t[x]+1`: "outside SUMPRODUCT", `t[x]`: "whole column", `ROUND(t[x],6)`: "of one number", `1=1`: "true or false",
		`MATCH(1,t[x],1)`: "another kind", `SUMIF(t[x],1,u[z])`: "no column", `v.x`: "no table", `no_such`: "no figure",
		`XLOOKUP(1,2,3)`: "no function", `1+`: "a value expected", `IF(1,2)`: "2 arguments", `(1`: "closing bracket", `1 2`: "an end",
		`naked`: "nothing a formula can hold", `SUMPRODUCT(t[x],2)`: "needs a column", `IF(1 2)`: "a comma", `[up:x]+1`: "",
	} {
		_, _, err := n.Fill(template, second)
		if part == "" {
			assert.NoError(t, err, template)
			continue
		}
		assert.ErrorContains(t, err, part, template)
	}
	_, _, err := n.Fill(`[up:x]`, formula.Here{Sheet: "Working", Table: "t"})
	assert.ErrorContains(t, err, "no row -1")
	_, err = n.Table("t", "Working", 1, 1)
	assert.Error(t, err)
	assert.Error(t, n.Figure("a_half", "Limits", 1, 1, formula.Num(1)))
}

// TINV takes what lies outside on both sides (testdata/reference/student_t.csv).
func TestStudentTable(t *testing.T) {
	for _, row := range reference.Rows(t, "student_t.csv") {
		if row["nu"] == "inf" {
			continue
		}
		for column, outside := range map[string]string{"p90": "0.1", "p95": "0.05", "p99": "0.01"} {
			template := "TINV(" + outside + "," + row["nu"] + ")"
			_, got, err := formula.NewNames().Fill(template, formula.Here{})
			require.NoError(t, err, template)
			assert.InDelta(t, row.Float(t, column), got.Number, 1e-6, template)
		}
	}
}
