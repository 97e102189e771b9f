package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/repair"
	"leakback/report"
)

func repairText(t *testing.T, p *report.RepairPage, o report.TableOptions) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.RepairTable(&out, p, o))
	return out.String()
}

// Tube and swap stories beside that of the page's samples.
const (
	oldTube = "1 4 injector = replaced|1 4 injector_serial_out = A1|1 4 injector_serial_in = B2|1 4 feed_tube = reused|1 4 core = yes"
	swapped = "1 4 injector = swapped|1 4 injector_swapped_with = 2|1 4 feed_tube = new|1 2 feed_tube = new"
)

func TestGoldenRepair(t *testing.T) {
	warm := func(volumes string) report.Bench { return report.Bench{Volumes: volumes, TempC: 55} }
	for _, test := range []struct {
		name    string
		page    *report.RepairPage
		options report.TableOptions
	}{
		{"repair-undecided.txt", report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine), report.TableOptions{Unicode: true}},
		{"repair-back.txt", report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.WarmFine), report.TableOptions{Unicode: true}},
		{"repair-back-44.txt", report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.WarmFine), report.TableOptions{Width: 44}},
		{"repair-color.txt", report.RepairStory(t, 40, "", report.WarmHigh, report.WarmHigh), report.TableOptions{Color: true}},
		{"repair-three.txt", report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine, report.WarmFine), report.TableOptions{Unicode: true, Brief: true}},
		{"repair-old-tube.txt", report.RepairStory(t, 40, oldTube, warm("24 25 23 48 24 25"), warm("24 25 23 47 24 -")), report.TableOptions{}},
		{"repair-swap.txt", report.RepairStory(t, 40, swapped, warm("24 25 23 >100 24 25"), warm("24 48 23 24 24 <1")), report.TableOptions{Unicode: true}},
		{"repair-worn.txt", report.RepairStory(t, 0, "", warm("70 72 69 71 70 73"), warm("69 71 70 72 70 71")), report.TableOptions{Unicode: true}},
	} {
		t.Run(test.name, func(t *testing.T) {
			golden(t, test.name, []byte(repairText(t, test.page, test.options)))
		})
	}
}

// A row a cylinder and one for the whole return, of every pair of tests; figures
// read back exactly.
func TestRepairCSV(t *testing.T) {
	p := report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine, report.WarmFine)
	var out bytes.Buffer
	require.NoError(t, report.RepairCSV(&out, p))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+3*7)
	col := func(row []string, name string) string {
		for i, head := range rows[0] {
			if head == name {
				return row[i]
			}
		}
		require.Fail(t, "no column", name)
		return ""
	}
	four := rows[4]
	for name, want := range map[string]string{"from_test": "test 1", "to_test": "test 2", "cylinder": "4", "rate_before_ml_min": "60",
		"rate_after_ml_min": "24", "change_ml_min": "-36", "decided_by": "ratio", "direction": "-1", "level": "0.99", "rate_after_m0_ml_min": "24",
		"verdict_before": "fail", "verdict_after": "pass", "answer": "undecided", "comparable": "true", "complaint_gone": "yes"} {
		assert.Equal(t, want, col(four, name), name)
	}
	assert.Contains(t, col(four, "work"), "feed tube new")
	assert.Equal(t, "0", col(rows[7], "cylinder"), "the whole return")
	assert.Equal(t, "test 3", col(rows[21], "to_test"))
	assert.Equal(t, "back to normal", col(rows[21], "answer"))
	assert.Empty(t, col(rows[18], "rate_after_m1_ml_min"), "the temperatures lie together")
}

// Where nothing exists nothing stands: of a cylinder that was not read again, and
// of a whole return that was never measured.
func TestRepairCSVOfWhatDoesNotExist(t *testing.T) {
	p := report.RepairStory(t, 40, "", report.Bench{Volumes: "24 25 23 >100 24 25"}, report.Bench{Volumes: "24 25 23 - 24 25"})
	var out bytes.Buffer
	require.NoError(t, report.RepairCSV(&out, p))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	col := func(row int, name string) string { return rows[row][slices.Index(rows[0], name)] }
	for _, row := range []int{4, 7} {
		for _, name := range []string{"decided_by", "direction", "level", "change_ml_min", "change_p"} {
			assert.Empty(t, col(row, name), "row %d, %s", row, name)
		}
	}
	assert.Equal(t, []string{"fail", "unread"}, []string{col(4, "verdict_before"), col(4, "verdict_after")})
	assert.Empty(t, col(7, "verdict_before"), "a total with a tube that ran over is none")
	out.Reset()
	require.NoError(t, report.RepairJSON(&out, p))
	for _, want := range []string{`"decided_by":null`, `"total":null`, `"ratio_standard_uncertainty":null,"ratio_degrees_of_freedom":null,"verdict":"fail"`} {
		assert.True(t, strings.Contains(out.String(), want), want)
	}
	p = report.RepairStory(t, 40, "", report.Bench{Volumes: "24 25 23 >100 24 25"}, report.Bench{Volumes: "24 25 23 24 24 25"})
	out.Reset()
	require.NoError(t, report.RepairJSON(&out, p))
	assert.True(t, regexp.MustCompile(`"total":\{"cylinder":0,"before":\{"rate_ml_min":null,[^}]*"verdict":null`).MatchString(out.String()))
}

func TestRepairJSON(t *testing.T) {
	p := report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine)
	var out bytes.Buffer
	require.NoError(t, report.RepairJSON(&out, p))
	assert.Equal(t, 1, strings.Count(out.String(), "\n"))
	var got struct {
		Answer        string
		ComplaintGone string `json:"complaint_gone"`
		Tests         []struct {
			Label string
			Work  []struct {
				Tightening []struct {
					Torque   string
					TorqueNM float64 `json:"torque_nm"`
				}
				Faults []struct{ Code string } `json:"tightening_faults"`
			}
		}
		Whole struct {
			Reasons   []struct{ Code string }
			Settle    struct{ Action string }
			Cylinders []struct {
				Rate struct{ Value, Level float64 } `json:"rate_change_ml_min"`
				Over *struct {
					One struct {
						Rate float64 `json:"rate_after_ml_min"`
					} `json:"m1"`
					Pieces []struct {
						Limit string
						FromM float64 `json:"from_m"`
					}
				} `json:"over_exponent"`
				Direction *float64
			}
		}
		Fuel struct{ Assumed bool }
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	assert.Equal(t, "undecided", got.Answer)
	assert.Equal(t, repair.Yes, got.ComplaintGone)
	assert.Equal(t, "temperature-decides", got.Whole.Reasons[0].Code)
	assert.Equal(t, "same-temperature", got.Whole.Settle.Action)
	assert.True(t, got.Fuel.Assumed)
	work := got.Tests[1].Work[0]
	assert.InDelta(t, 14.914, work.Tightening[0].TorqueNM, 0.0005) // NIST SP 811: 11 * 1.355818
	assert.Equal(t, "angle-outside", work.Faults[0].Code)
	four := got.Whole.Cylinders[3]
	assert.Equal(t, -36.0, four.Rate.Value)
	assert.InDelta(t, 24*3.6540/2.0922, four.Over.One.Rate, 0.005) // viscosities worked apart, to 4 decimals
	assert.Len(t, four.Over.Pieces, 2)
	assert.Nil(t, got.Whole.Cylinders[0].Direction, "depends on the exponent")
}

// Lines of work for a list, and the list as a story, the oldest first.
func TestWorkLinesAndStory(t *testing.T) {
	p := report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine, report.WarmFine)
	var tests []report.Listed
	for i := len(p.Tests) - 1; i >= 0; i-- { // newest first, as lists are
		side := p.Comparison.Sides[i]
		l := report.Listed{Number: int64(12 + i), Name: side.Result.Test.ID, StartedUS: 1709629200_000000 + int64(i)*86400_000000,
			Engine: "Northmoor Six-90", Condition: "idle", Method: "individual", Ended: "done", Result: side.Result, Odometer: "82,000 km"}
		if i == 0 {
			l.Work = report.WorkLines(p.Comparison.Sides[1].Work, p.Tightening, nil)
		}
		tests = append(tests, l)
	}
	assert.Equal(t, "work 1, done 2024-03-06 11:40 +01:00 by R. Example", tests[2].Work[0])
	assert.Contains(t, tests[2].Work[1], "cylinder 4: injector refitted")
	assert.Contains(t, tests[2].Work[1], "tightening NOT as the sheet asks: step 2 (injector hold-down, both), 75°: expected 60° ± 5°")
	var out bytes.Buffer
	require.NoError(t, report.Story(&out, tests, report.TableOptions{Unicode: true}))
	golden(t, "story.txt", out.Bytes())
	assert.Equal(t, "Northmoor Six-90", tests[0].Engine, "what was handed in is left alone")
	assert.NotEmpty(t, tests[2].Work)
}

// Whatever the width: no line is wider, nothing but ASCII without Unicode, no
// escape sequence without colour, and colour changes nothing but colour.
func TestRepairTableFits(t *testing.T) {
	hostile := "=1+1 \x1b[31m\u202e 燃料戻り " + strings.Repeat("long", 30)
	p := report.RepairStory(t, 40, report.NewTube+"|1 4 work_note = "+strings.Repeat("燃料", 40), report.WarmHigh, report.ColdFine,
		report.Bench{Volumes: ">100 <1 35 34 - 37", TempC: 54})
	p.Tests[2].Job.Vehicle, p.Advice[0] = hostile, hostile
	p.Comparison.Sides[1].Label = hostile
	sgr := regexp.MustCompile(`\x1b\[[0-9;]*m`)
	for width := 20; width <= 120; width += 3 {
		for _, unicode := range []bool{false, true} {
			plain := repairText(t, p, report.TableOptions{Width: width, Unicode: unicode})
			for _, line := range strings.Split(plain, "\n") {
				require.LessOrEqual(t, displaywidth.String(line), width, "%d columns: %q", width, line)
				require.Equal(t, strings.TrimRight(line, " "), line)
			}
			require.NotRegexp(t, `[\x00-\x09\x0b-\x1f\x7f\x{202a}-\x{202e}]`, plain)
			if !unicode {
				require.NotRegexp(t, `[^\n -~]`, plain)
			}
			colored := repairText(t, p, report.TableOptions{Width: width, Unicode: unicode, Color: true})
			require.Equal(t, plain, sgr.ReplaceAllString(colored, ""))
		}
	}
}
