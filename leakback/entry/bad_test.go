package entry

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/refused"
)

const knownColumns = "cylinder, blocked, volume_ml, volume_cc, volume_floz, mass_g, density_g_ml, interval_s, interval_min, test_id, run, start_ml, " +
	"over_range, graduation_ml, capacity_ml, tolerance_ml, condition, injectors, cranks, fuel_temp_c, fuel_temp_at, " +
	"rail_pressure_bar, back_pressure_bar, engine_rpm, return_line, engine"

// Each file has the faults that stand below it, and no other.
func TestBadFiles(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		// The file as a whole.
		{"empty", "", []string{
			"idle.csv: expected a header such as cylinder,volume_ml and a row for each reading; the file is empty"}},
		{"blank lines", "\n \r\n;;\n", []string{
			"idle.csv: expected a header such as cylinder,volume_ml and a row for each reading; the file is empty"}},
		{"BOM alone", "\ufeff", []string{
			"idle.csv: expected a header such as cylinder,volume_ml and a row for each reading; the file is empty"}},
		{"header only", "cylinder,volume_ml\n", []string{"idle.csv: row 1: expected a row for each reading below the header"}},
		{"header and empty rows", "cylinder,volume_ml\n,\n,\n", []string{"idle.csv: row 1: expected a row for each reading below the header"}},
		{"workbook", "PK\x03\x04\x14\x00\x06\x00", []string{
			"idle.csv: row 1: expected CSV text; this is a workbook or another packed file: save its sheet as CSV (UTF-8)"}},
		{"old workbook", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\x00\x00", []string{
			"idle.csv: row 1: expected CSV text; this is a workbook or another packed file: save its sheet as CSV (UTF-8)"}},
		{"binary", "\x7fELF\x02\x01\x01\x00\x00\x00\x00", []string{"idle.csv: row 1: expected CSV text; this is a binary file"}},
		{"long binary", strings.Repeat("\x00\x01\x02", 50_000), []string{"idle.csv: row 1: expected CSV text; this is a binary file"}},
		{"UTF-16 with BOM", "\xff\xfec\x00y\x00l\x00\n\x00", []string{
			"idle.csv: row 1: expected UTF-8 text; this is UTF-16: save the file as CSV (UTF-8)"}},
		{"UTF-16 big end first", "\xfe\xff\x00c\x00y", []string{
			"idle.csv: row 1: expected UTF-8 text; this is UTF-16: save the file as CSV (UTF-8)"}},
		{"UTF-16 without BOM", "c\x00y\x00l\x00\r\x00\n\x001\x00", []string{
			"idle.csv: row 1: expected UTF-8 text; this is UTF-16: save the file as CSV (UTF-8)"}},
		{"long line", "cylinder,volume_ml\n1,21\n2," + strings.Repeat("1", 70_000) + "\n", []string{
			"idle.csv: row 3: expected at most 65,536 bytes in a line; this is no readings file"}},

		// The header.
		{"unknown column", "cylinder,volume_ml,colour,Tube no\n1,21,,\n", []string{
			`idle.csv: row 1: "colour": expected one of the columns ` + knownColumns,
			`idle.csv: row 1: "Tube no": expected one of the columns named above`}},
		{"repeated column", "cylinder,volume_ml,Cylinder\n1,21,1\n", []string{
			"idle.csv: row 1, column cylinder: expected each column once"}},
		{"two volumes", "cylinder,volume_ml,volume_cc\n1,21,21\n", []string{
			"idle.csv: row 1, column volume_cc: expected only one column of volume_ml, volume_cc, volume_floz, mass_g"}},
		{"two intervals", "cylinder,volume_ml,interval_min,interval_s\n1,21,1,60\n", []string{
			"idle.csv: row 1, column interval_s: expected only one column of interval_s, interval_min"}},
		{"no volume", "cylinder,run\n1,1\n", []string{
			"idle.csv: row 1: expected a column volume_ml or volume_cc or volume_floz or mass_g"}},
		{"no header", "1,21\n2,22\n", []string{
			`idle.csv: row 1: "1": expected one of the columns ` + knownColumns,
			`idle.csv: row 1: "21": expected one of the columns named above`,
			"idle.csv: row 1: expected a column volume_ml or volume_cc or volume_floz or mass_g"}},
		{"density of a volume", "cylinder,volume_ml,density_g_ml\n1,18,0.83\n", []string{
			"idle.csv: row 1, column density_g_ml: expected it beside a column mass_g alone"}},
		{"quotes in the header", "cylinder,\"volume_ml\n1,21\n", []string{
			"idle.csv: row 1: expected quotes in pairs, around a whole cell (a quote inside it is written twice)"}},
		{"header not UTF-8", "cylinder,volume_ml,R\xfccklauf\n1,21,\n", []string{
			`idle.csv: row 1: "R\xfccklauf": expected UTF-8 text; save the file as CSV (UTF-8)`}},
		{"row of an unnamed column", "cylinder,volume_ml,\n1,21,\n2,22,x\n", []string{
			`idle.csv: row 3, column 3: "x": expected nothing, since the header does not name the column`}},

		// The row as a whole.
		{"mixed separators", "cylinder;volume_ml\n1;21\n2,22\n", []string{
			"idle.csv: row 3: expected 2 cells separated by semicolons, as in the header; found 1"}},
		{"tabs and too many", "cylinder\tvolume_ml\n1\t21\t\n", []string{
			"idle.csv: row 2: expected 2 cells separated by tabs, as in the header; found 3"}},
		{"decimal comma in a comma file", "cylinder,volume_ml\n1,22,5\n", []string{
			"idle.csv: row 2: expected 2 cells separated by commas, as in the header; found 3 " +
				"(a decimal comma needs semicolons between the cells)"}},
		{"quote not closed", "cylinder,volume_ml\n1,\"21\n2,22\n3,2x\n", []string{
			"idle.csv: row 2: expected quotes in pairs, around a whole cell (a quote inside it is written twice)",
			`idle.csv: row 4, column volume_ml: "2x": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"quotes inside", "cylinder,volume_ml\n1,2\"1\"\n2,\"2\"2\"\"\n", []string{
			"idle.csv: row 2: expected quotes in pairs, around a whole cell (a quote inside it is written twice)",
			"idle.csv: row 3: expected quotes in pairs, around a whole cell (a quote inside it is written twice)"}},

		// Volumes.
		{"text", "cylinder,volume_ml\n1,abc\n", []string{
			`idle.csv: row 2, column volume_ml: "abc": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"unit in the cell", "cylinder,volume_ml\n1,21 mL\n", []string{
			`idle.csv: row 2, column volume_ml: "21 mL": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"control characters", "cylinder,volume_ml\n1,2\x1b[2J\n", []string{
			`idle.csv: row 2, column volume_ml: "2\x1b[2J": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"long cell", "cylinder,volume_ml\n1," + strings.Repeat("é", 1000) + "\n", []string{
			`idle.csv: row 2, column volume_ml: "` + strings.Repeat("é", 40) + `…": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"not UTF-8", "cylinder,volume_ml\n1,22\xb0\n", []string{
			`idle.csv: row 2, column volume_ml: "22\xb0": expected UTF-8 text; save the file as CSV (UTF-8)`}},
		{"quoted decimal comma", "cylinder,volume_ml\n1,\"22,5\"\n2,\">22,5\"\n", []string{
			`idle.csv: row 2, column volume_ml: "22,5": expected a decimal point, since commas separate the cells of this file`,
			`idle.csv: row 3, column volume_ml: ">22,5": expected a decimal point, since commas separate the cells of this file`}},
		{"no figure", "cylinder,volume_ml\n1,>\n2,<\n3,> \n", []string{
			`idle.csv: row 2, column volume_ml: ">": expected a figure behind > or <, such as >100 or <2`,
			`idle.csv: row 3, column volume_ml: "<": expected a figure behind > or <, such as >100 or <2`,
			`idle.csv: row 4, column volume_ml: ">": expected a figure behind > or <, such as >100 or <2`}},
		{"bound of zero", "cylinder,volume_ml\n1,>0\n2,<0\n", []string{
			`idle.csv: row 2, column volume_ml: ">0": expected a level above 0 where the tube overflowed or the first mark was not reached`,
			`idle.csv: row 3, column volume_ml: "<0": expected a level above 0 where the tube overflowed or the first mark was not reached`}},
		{"tab behind the mark", "cylinder,volume_ml\n1,>\t5\n", []string{
			`idle.csv: row 2, column volume_ml: ">\t5": expected a number such as 22.5, >100 or <2, or nothing where it was not read`}},
		{"negative, absurd", "cylinder,volume_ml\n1,-1\n2,10001\n3,>99999\n", []string{
			`idle.csv: row 2, column volume_ml: "-1": expected a volume from 0 to 10,000 mL`,
			`idle.csv: row 3, column volume_ml: "10001": expected a volume from 0 to 10,000 mL`,
			`idle.csv: row 4, column volume_ml: ">99999": expected a volume from 0 to 10,000 mL`}},
		{"absurd with a decimal comma", "cylinder;volume_ml;interval_s\n1;-1,5;0,5\n", []string{
			`idle.csv: row 2, column volume_ml: "-1,5": expected a volume from 0 to 10,000 mL`,
			`idle.csv: row 2, column interval_s: "0,5": expected the length of the collection, from 1 to 86,400 s`}},
		{"drops", "cylinder,volume_ml\n1,drops\n2,5 Tropfen\n", []string{
			`idle.csv: row 2, column volume_ml: "drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
			`idle.csv: row 3, column volume_ml: "5 Tropfen": expected a volume, and a drop is none: collect to the first mark, or weigh`}},
		{"beyond the tube", "cylinder,volume_ml,capacity_ml\n1,101,100\n2,>101,100\n3,<101,100\n4,>100,100\n", []string{
			`idle.csv: row 2, column volume_ml: "101": expected at most the tube's capacity, 100 mL; where it overflowed write >100`,
			`idle.csv: row 3, column volume_ml: ">101": expected at most the tube's capacity, 100 mL`,
			`idle.csv: row 4, column volume_ml: "<101": expected at most the tube's capacity, 100 mL`}},
		{"beyond a large tube", "cylinder,volume_ml,capacity_ml\n1,1001,1000\n", []string{
			`idle.csv: row 2, column volume_ml: "1001": expected at most the tube's capacity, 1000 mL; where it overflowed write >1000`}},
		{"beyond the tube, fl oz", "cylinder,volume_floz,capacity_ml\n1,3.5,100\n", []string{
			`idle.csv: row 2, column volume_floz: "3.5": expected at most the tube's capacity, 100 mL; where it overflowed write > and its highest mark`}},
		{"start level", "cylinder,volume_ml,start_ml,capacity_ml\n1,21,22,\n2,>21,22,\n3,,51,50\n4,21,-1,\n5,21,21,\n6,>21,21,\n", []string{
			`idle.csv: row 2, column start_ml: "22": expected at most the level read, 21 mL`,
			`idle.csv: row 3, column start_ml: "22": expected at most the level read, 21 mL`,
			`idle.csv: row 4, column start_ml: "51": expected at most the tube's capacity, 50 mL`,
			`idle.csv: row 5, column start_ml: "-1": expected a level from 0 to 10,000 mL`,
			`idle.csv: row 7, column start_ml: "21": expected less than the level at which the tube overflowed, 21 mL`}},
		{"over range", "cylinder,volume_ml,over_range,capacity_ml\n1,<2,1,\n2,,1,\n3,21,yes,\n4,101,1,100\n5,0,1,\n6,21,2,\n", []string{
			`idle.csv: row 2, column over_range: "1": expected 0 or nothing beside a reading with <`,
			`idle.csv: row 3, column over_range: "1": expected the level that was reached, or the tube's capacity (capacity_ml or --capacity)`,
			`idle.csv: row 4, column over_range: "yes": expected 1 where the tube overflowed, else 0`,
			`idle.csv: row 5, column volume_ml: "101": expected at most the tube's capacity, 100 mL`,
			`idle.csv: row 6, column volume_ml: "0": expected a level above 0 where the tube overflowed or the first mark was not reached`,
			`idle.csv: row 7, column over_range: "2": expected 1 where the tube overflowed, else 0`}},

		// Tubes.
		{"marks", "cylinder,volume_ml,graduation_ml,capacity_ml,tolerance_ml\n1,21,0,,\n2,21,-1,,\n3,21,50,25,\n4,0,,0.5,\n5,21,,0,\n6,21,,,-0.1\n", []string{
			`idle.csv: row 2, column graduation_ml: "0": expected the step between two marks, above 0 to 10,000 mL`,
			`idle.csv: row 3, column graduation_ml: "-1": expected the step between two marks, above 0 to 10,000 mL`,
			`idle.csv: row 4, column graduation_ml: "50": expected at most the tube's capacity, 25 mL`,
			`idle.csv: row 5, column capacity_ml: "0.5": expected at least one mark of 1 mL; the marks are given by graduation_ml or --graduation`,
			`idle.csv: row 6, column capacity_ml: "0": expected the tube's highest mark, above 0 to 10,000 mL`,
			`idle.csv: row 7, column tolerance_ml: "-0.1": expected the largest error of the scale, from 0 to 10,000 mL`}},

		// Cylinders and runs.
		{"cylinders", "cylinder,volume_ml\n0,21\n-1,21\n1.5,21\n65,21\n,21\nI,21\n", []string{
			`idle.csv: row 2, column cylinder: "0": expected a cylinder's number, whole, from 1 to 64`,
			`idle.csv: row 3, column cylinder: "-1": expected a cylinder's number, whole, from 1 to 64`,
			`idle.csv: row 4, column cylinder: "1.5": expected a cylinder's number, whole, from 1 to 64`,
			`idle.csv: row 5, column cylinder: "65": expected a cylinder's number, whole, from 1 to 64`,
			`idle.csv: row 6, column cylinder: expected a cylinder's number, whole, from 1 to 64`,
			`idle.csv: row 7, column cylinder: "I": expected a cylinder's number, whole, from 1 to 64`}},
		{"cylinder repeated", "cylinder,run,volume_ml\n1,1,21\n1,2,21\n2,1,22\n2,2,22\n1,1,23\n", []string{
			`idle.csv: row 6, column cylinder: "1": expected each cylinder once in a run; run 1 has it in row 2`}},
		{"runs", "cylinder,run,volume_ml\n1,0,21\n1,-1,21\n1,1000,21\n1,x,21\n", []string{
			`idle.csv: row 2, column run: "0": expected a run's number, whole, from 1 to 999`,
			`idle.csv: row 3, column run: "-1": expected a run's number, whole, from 1 to 999`,
			`idle.csv: row 4, column run: "1000": expected a run's number, whole, from 1 to 999`,
			`idle.csv: row 5, column run: "x": expected a run's number, whole, from 1 to 999`}},

		// Merged returns.
		{"blocked", "blocked,volume_ml\n,90\n\"1,2\",80\n1+,80\n0,80\n65,80\n1.5,80\n1+2+1,80\nall,80\n 2 + 1 ,60\n", []string{
			`idle.csv: row 3, column blocked: "1,2": expected the blocked cylinders joined by +, such as 1+2, or nothing where none was`,
			`idle.csv: row 4, column blocked: "1+": expected the blocked cylinders joined by +, such as 1+2, or nothing where none was`,
			`idle.csv: row 5, column blocked: "0": expected whole numbers of cylinders from 1 to 64, joined by +`,
			`idle.csv: row 6, column blocked: "65": expected whole numbers of cylinders from 1 to 64, joined by +`,
			`idle.csv: row 7, column blocked: "1.5": expected whole numbers of cylinders from 1 to 64, joined by +`,
			`idle.csv: row 8, column blocked: "1+2+1": expected each blocked cylinder once`,
			`idle.csv: row 9, column blocked: "all": expected the blocked cylinders joined by +, such as 1+2, or nothing where none was`}},
		{"both filled", "cylinder,blocked,volume_ml\n1,2,21\n2,,22\n", []string{
			`idle.csv: row 2, column blocked: "2": expected nothing beside a cylinder: a row holds a cylinder's own return, ` +
				`or the merged return with these cylinders blocked and its cylinder empty`}},
		{"two methods in a test", "test_id,cylinder,blocked,volume_ml\na,1,,21\na,,2,22\nb,,1,90\nb,3,,22\nb,,,100\n", []string{
			`idle.csv: row 3, column cylinder: expected a cylinder's number, whole, from 1 to 64, as in row 2 of the same test`,
			`idle.csv: row 5, column cylinder: "3": expected nothing beside a merged return, as in row 4 of the same test`}},
		{"runs twice", "blocked,run,volume_ml\n,1,90\n1,2,80\n1,2,80\n2,3,70\n,3,90\n", []string{
			`idle.csv: row 4, column run: "2": expected each run once, or once for each return line; run 2 is in row 3 already`,
			`idle.csv: row 6, column run: "3": expected each run once, or once for each return line; run 3 is in row 5 already`}},
		{"runs twice, one by its place", "blocked,run,volume_ml\n,,90\n1,1,80\n", []string{
			`idle.csv: row 3, column run: "1": expected each run once, or once for each return line; run 1 is in row 2 already`}},
		{"total twice in a run", "run,volume_ml\n1,90\n1,80\n", []string{
			`idle.csv: row 3, column run: "1": expected each run once, or once for each return line; run 1 is in row 2 already`}},
		{"a run blocked in two ways", "blocked,run,return_line,volume_ml\n1+2,1,left,90\n1,1,right,80\n", []string{
			`idle.csv: row 3, column blocked: "1": expected "1+2", as in row 2 of the same run`}},
		{"merged without an interval", "blocked,volume_ml,interval_s\n,90,60\n1,80,unknown\n", []string{
			`idle.csv: row 3, column interval_s: "unknown": expected the length of the collection, which a merged return is measured by`}},

		// Masses.
		{"masses", "cylinder,mass_g,density_g_ml,start_ml\n1,x,,\n2,10001,,\n3,20,0.5,\n4,20,,2\n5,3 drops,,\n6,>,,\n", []string{
			`idle.csv: row 2, column mass_g: "x": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
			`idle.csv: row 3, column mass_g: "10001": expected a mass from 0 to 10,000 g`,
			`idle.csv: row 4, column density_g_ml: "0.5": expected a density from 0.6 to 1.1 g/mL`,
			`idle.csv: row 5, column start_ml: "2": expected nothing beside mass_g: weigh what was added alone`,
			`idle.csv: row 6, column mass_g: "3 drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
			`idle.csv: row 7, column mass_g: ">": expected a figure behind > or <, such as >100 or <2`}},
		{"mass beyond the tube", "cylinder,mass_g,capacity_ml\n1,84,100\n", []string{
			`idle.csv: row 2, column mass_g: "84": expected at most the tube's capacity, 100 mL; where it overflowed write > and its highest mark`}},

		// Intervals and state.
		{"intervals", "cylinder,volume_ml,run,interval_s\n1,21,1,0\n1,21,2,-60\n1,21,3,1e400\n1,21,4,NaN\n1,21,5,Inf\n1,21,6,0x3c\n1,21,7,1_000\n1,21,8,60s\n1,21,9,90000\n1,21,10,unknowable\n", []string{
			`idle.csv: row 2, column interval_s: "0": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 3, column interval_s: "-60": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 4, column interval_s: "1e400": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 5, column interval_s: "NaN": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 6, column interval_s: "Inf": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 7, column interval_s: "0x3c": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 8, column interval_s: "1_000": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 9, column interval_s: "60s": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 10, column interval_s: "90000": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 11, column interval_s: "unknowable": expected the length of the collection, from 1 to 86,400 s`}},
		{"unknown and known in a run", "cylinder,volume_ml,interval_s\n1,21,unknown\n2,22,60\n", []string{
			`idle.csv: row 3, column interval_s: "60": expected "unknown", as in row 2 of the same run`}},
		{"unequal in a run", "cylinder,volume_ml,interval_s,cranks,fuel_temp_c,fuel_temp_at,rail_pressure_bar,back_pressure_bar,engine_rpm\n" +
			"1,21,60,3,40,rail,350,10,750\n2,21,61,2,41,Tube,351,11,751\n3,21,60.0,3,40,Rail,350,10,750\n", []string{
			`idle.csv: row 3, column interval_s: "61": expected "60", as in row 2 of the same run`,
			`idle.csv: row 3, column cranks: "2": expected "3", as in row 2 of the same run`,
			`idle.csv: row 3, column fuel_temp_c: "41": expected "40", as in row 2 of the same run`,
			`idle.csv: row 3, column fuel_temp_at: "Tube": expected "rail", as in row 2 of the same run`,
			`idle.csv: row 3, column rail_pressure_bar: "351": expected "350", as in row 2 of the same run`,
			`idle.csv: row 3, column back_pressure_bar: "11": expected "10", as in row 2 of the same run`,
			`idle.csv: row 3, column engine_rpm: "751": expected "750", as in row 2 of the same run`}},
		{"unequal in a test", "cylinder,run,volume_ml,condition,injectors,engine\n1,1,21,Idle,off,Six\n1,2,21,cranking,driven,Four\n1,3,21,idle,OFF,Six\n", []string{
			`idle.csv: row 3, column engine: "Four": expected "Six", as in row 2 of the same test`,
			`idle.csv: row 3, column condition: "cranking": expected "idle", as in row 2 of the same test`,
			`idle.csv: row 3, column injectors: "driven": expected "off", as in row 2 of the same test`}},
		{"state", "cylinder,volume_ml,cranks,fuel_temp_c,fuel_temp_at,rail_pressure_bar,back_pressure_bar,engine_rpm,injectors,condition,return_line\n" +
			"1,21,0,900,tank,-1,5000,99999,on,a\x01b," + strings.Repeat("x", 101) + "\n", []string{
			`idle.csv: row 2, column return_line: "` + strings.Repeat("x", 40) + `…": expected the return line's name, at most 100 printable characters`,
			`idle.csv: row 2, column condition: "a\x01b": expected a condition such as idle or cranking, at most 100 printable characters`,
			`idle.csv: row 2, column injectors: "on": expected driven or off`,
			`idle.csv: row 2, column cranks: "0": expected the number of cranks, whole, from 1 to 99`,
			`idle.csv: row 2, column fuel_temp_c: "900": expected a temperature from -60 to 200 °C`,
			`idle.csv: row 2, column fuel_temp_at: "tank": expected supply, rail, return or tube`,
			`idle.csv: row 2, column rail_pressure_bar: "-1": expected a pressure from 0 to 4,000 bar`,
			`idle.csv: row 2, column back_pressure_bar: "5000": expected a pressure from 0 to 4,000 bar`,
			`idle.csv: row 2, column engine_rpm: "99999": expected a speed from 0 to 10,000 rpm`}},

		{"one fault, not two", "cylinder,run,volume_ml,interval_s,over_range,capacity_ml\n1,1,21,x,,\n2,1,22,60,,\n1,2,21,60,,\n" +
			"2,2,22,x,,\n1,3,x,60,1,\n2,3,22,60,,y\nz,4,22,60,,\n", []string{
			`idle.csv: row 2, column interval_s: "x": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 5, column interval_s: "x": expected the length of the collection, from 1 to 86,400 s`,
			`idle.csv: row 6, column volume_ml: "x": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
			`idle.csv: row 7, column capacity_ml: "y": expected the tube's highest mark, above 0 to 10,000 mL`,
			`idle.csv: row 8, column cylinder: "z": expected a cylinder's number, whole, from 1 to 64`}},

		// Tests.
		{"ids", "test_id,cylinder,volume_ml\n-1,1,21\n-1,2,22\n" + strings.Repeat("a", 101) + ",1,21\nb\u202e,1,21\n", []string{
			`idle.csv: row 2, column test_id: "-1": expected an id that begins with a letter or a digit, at most 100 printable characters`,
			`idle.csv: row 4, column test_id: "` + strings.Repeat("a", 40) + `…": expected an id that begins with a letter or a digit, at most 100 printable characters`,
			`idle.csv: row 5, column test_id: "b\u202e": expected an id that begins with a letter or a digit, at most 100 printable characters`}},
		{"not together", "test_id,cylinder,volume_ml\nA,1,21\nB,1,21\nA,2,22\n", []string{
			`idle.csv: row 4, column test_id: "A": expected the rows of a test together; this one began in row 2 and other rows stand between`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tests, err := readString(c.text, minute())
			requireFaults(t, err, c.want)
			if strings.Contains(c.text, "test_id") {
				return
			}
			assert.Empty(t, tests)
		})
	}
}

func requireFaults(t *testing.T, err error, want []string) {
	t.Helper()
	var faults *FaultError
	require.ErrorAs(t, err, &faults)
	require.Equal(t, strings.Join(want, "\n"), err.Error())
	require.Len(t, faults.Faults, len(want))
}

func TestMissingInterval(t *testing.T) {
	_, err := readString("cylinder,volume_ml\n1,21\n2,22\n", NoDefaults())
	requireFaults(t, err, []string{"idle.csv: row 1: expected the length of the collection: a column interval_s or --interval"})
	_, err = readString("cylinder,run,volume_ml,interval_min\n1,1,21,\n1,2,21,1\n", NoDefaults())
	requireFaults(t, err, []string{"idle.csv: row 2, column interval_min: expected the length of the collection, here or with --interval"})
}

func TestBeyondCylinders(t *testing.T) {
	d := minute()
	d.Cylinders = 4
	_, err := readString("cylinder,volume_ml\n4,21\n5,22\n", d)
	requireFaults(t, err, []string{`idle.csv: row 3, column cylinder: "5": expected a cylinder from 1 to 4, as --cylinders or the limits sheet says`})
	_, err = readString("blocked,volume_ml\n4,21\n4+5,22\n", d)
	requireFaults(t, err, []string{`idle.csv: row 3, column blocked: "4+5": expected cylinders from 1 to 4, as --cylinders or the limits sheet says`})
}

func TestTubeClassWithoutCapacity(t *testing.T) {
	d := minute()
	d.TubeClass = "B"
	const want = "expected the tube's capacity, which --tube-class needs: a column capacity_ml or --capacity"
	_, err := readString("cylinder,volume_ml\n1,21\n2,22\n", d)
	requireFaults(t, err, []string{"idle.csv: --capacity: " + want})
	_, err = readString("cylinder,volume_ml,capacity_ml\n1,21,100\n2,22,\n", d)
	requireFaults(t, err, []string{"idle.csv: row 3, column capacity_ml: " + want})

	const known = "expected a capacity that ASTM E1272 has: 5, 10, 25, 50, 100, 250, 500, 1000 or 2000 mL"
	_, err = readString("cylinder,volume_ml,capacity_ml\n1,21,100\n2,22,120\n", d)
	requireFaults(t, err, []string{`idle.csv: row 3, column capacity_ml: "120": ` + known})
	d.CapacityML = 120
	_, err = readString("cylinder,volume_ml\n1,21\n2,22\n", d)
	requireFaults(t, err, []string{"idle.csv: --capacity: " + known})
}

func TestBadFlags(t *testing.T) {
	d := Defaults{IntervalS: 0.5, GraduationML: 0, CapacityML: -1, ToleranceML: -1, DensityGML: 5, TubeClass: "C", Condition: "a\nb",
		Injectors: "on", Cranks: -1, FuelTempC: 300, FuelTempAt: "tank", RailPressureBar: -1, BackPressureBar: -1,
		EngineRPM: -1, ReturnLine: "\x00", Engine: "\xff", Cylinders: 65}
	_, err := readString("cylinder,volume_ml\n1,21\n", d)
	var faults *FaultError
	require.ErrorAs(t, err, &faults)
	var flags []string
	for _, f := range faults.Faults {
		flags = append(flags, f.Column)
	}
	assert.Equal(t, []string{"--interval", "--graduation", "--capacity", "--tolerance", "--density", "--cranks", "--fuel-temp",
		"--rail-pressure", "--back-pressure", "--rpm", "--cylinders", "--tube-class", "--condition", "--injectors",
		"--fuel-temp-at", "--return-line", "--engine"}, flags)
	assert.Equal(t, `--tube-class: "C": expected A or B`, faults.Faults[11].Error())

	d = minute()
	d.CapacityML = 0.5
	_, err = readString("cylinder,volume_ml\n1,0.2\n", d)
	requireFaults(t, err, []string{`--capacity: "0.5 mL": expected at least one mark of 1 mL; the marks are given by graduation_ml or --graduation`})
}

func TestBadDefaultID(t *testing.T) {
	rd := NewReader(strings.NewReader("cylinder,volume_ml\n1,21\n"), "idle.csv", "#1", minute())
	_, err := rd.Next()
	requireFaults(t, err, []string{`idle.csv: test_id: "#1": expected an id that begins with a letter or a digit, at most 100 printable characters`})
}

// A name that would break the line or play with the terminal is quoted.
func TestFileNameIsMadeSafe(t *testing.T) {
	_, err := NewReader(strings.NewReader(""), "a\n\x1b[2Jb.csv", "a", minute()).Next()
	assert.True(t, strings.HasPrefix(err.Error(), `"a\n\x1b[2Jb.csv": expected a header`), err)
}

func TestAtMostTwentyFaults(t *testing.T) {
	for _, count := range []int{19, 20, 21, 500} {
		var text strings.Builder
		text.WriteString("cylinder,run,volume_ml\n")
		for i := range count {
			fmt.Fprintf(&text, "1,%d,x\n", i+1)
		}
		text.WriteString("1,900,21\n")
		_, err := readString(text.String(), minute())
		var faults *FaultError
		require.ErrorAs(t, err, &faults)
		assert.Equal(t, count > 20, faults.More)
		lines := strings.Split(err.Error(), "\n")
		assert.Equal(t, count > 20, lines[len(lines)-1] == "and more")
		if count > 20 {
			assert.Len(t, faults.Faults, 20)
			assert.Len(t, lines, 21)
		}
	}
}

// A file that is wrong throughout is not read to its end.
func TestReadingStopsAfterTwentyFaults(t *testing.T) {
	rows := &repeated{text: "1,x\n"}
	_, err := readAll(io.MultiReader(strings.NewReader("cylinder,volume_ml\n"), io.LimitReader(rows, 2<<30)), "idle.csv", minute())
	var faults *FaultError
	require.ErrorAs(t, err, &faults)
	assert.True(t, faults.More)
	assert.Less(t, rows.taken, 2*longestLine)
}

// repeated is a stream of one text again and again that counts what was taken.
type repeated struct {
	text  string
	taken int
}

func (r *repeated) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = r.text[(r.taken+i)%len(r.text)]
	}
	r.taken += len(p)
	return len(p), nil
}

func TestManyFaultsFile(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(readings, "bad", "many.csv"))
	require.NoError(t, err)
	tests, err := readAll(strings.NewReader(string(data)), "many.csv", NoDefaults())
	assert.Empty(t, tests)
	requireFaults(t, err, []string{
		`many.csv: row 1: "colour": expected one of the columns ` + knownColumns,
		`many.csv: row 2, column volume_ml: "abc": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
		`many.csv: row 3, column volume_ml: "-3": expected a volume from 0 to 10,000 mL`,
		`many.csv: row 4, column cylinder: "2": expected each cylinder once in a run; run 1 has it in row 3`,
		`many.csv: row 5, column cylinder: "0": expected a cylinder's number, whole, from 1 to 64`,
		`many.csv: row 6, column run: "one": expected a run's number, whole, from 1 to 999`,
		`many.csv: row 7, column over_range: "1": expected 0 or nothing beside a reading with <`,
		`many.csv: row 8, column interval_s: "30": expected "60", as in row 2 of the same run`,
		`many.csv: row 9, column condition: "cranking": expected "idle", as in row 2 of the same test`,
		`many.csv: row 10, column volume_ml: "5 drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
		`many.csv: row 11: expected 7 cells separated by commas, as in the header; found 6`,
		`many.csv: row 12, column interval_s: expected the length of the collection, here or with --interval`,
	})
}

// Tests that were complete before the first faulty row are given, later ones
// are not, and the faults of the rest of the file come with the end.
func TestTestsBeforeTheFault(t *testing.T) {
	f, err := os.Open(filepath.Join(readings, "bad", "third-test.csv"))
	require.NoError(t, err)
	defer f.Close()
	rd := NewReader(f, "third-test.csv", "third-test", NoDefaults())
	for _, id := range []string{"A", "B"} {
		test, err := rd.Next()
		require.NoError(t, err)
		assert.Equal(t, id, test.ID)
		requireSound(t, test)
	}
	for range 2 {
		test, err := rd.Next()
		assert.Nil(t, test)
		requireFaults(t, err, []string{
			`third-test.csv: row 6, column volume_ml: "2l": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
			`third-test.csv: row 8, column interval_s: "0": expected the length of the collection, from 1 to 86,400 s`,
		})
	}
}

// Which test a faulty row belongs to decides whether the one before it is sound.
func TestFaultAtATestsEnd(t *testing.T) {
	const sound = "A,1,21\nA,2,22\n"
	for name, c := range map[string]struct {
		header, rows string
		given        int
	}{
		"fault in the next test's row":      {"test_id,cylinder,volume_ml\n", sound + "B,x,21\n", 1},
		"fault in the test's own row":       {"test_id,cylinder,volume_ml\n", sound + "A,3,x\n", 0},
		"the next test's row too short":     {"test_id,cylinder,volume_ml\n", sound + "B,1\n", 1},
		"the test's own row too short":      {"test_id,cylinder,volume_ml\n", sound + "A,3\n", 0},
		"quotes in the next test's row":     {"test_id,cylinder,volume_ml\n", sound + "B,1,\"21\n", 1},
		"quotes in the test's own row":      {"test_id,cylinder,volume_ml\n", sound + "A,3,\"21\n", 0},
		"quotes inside the next test's row": {"test_id,cylinder,volume_ml\n", sound + "B,1,2\"1\"\n", 1},
		"quotes inside its own row":         {"test_id,cylinder,volume_ml\n", sound + "A,3,2\"1\"\n", 0},
		"the id's own quotes":               {"test_id,cylinder,volume_ml\n", sound + "\"B,1,21\n", 0},
		"the id's own quotes, in pairs":     {"test_id,cylinder,volume_ml\n", sound + "\"B\"x,1,21\n", 0},
		"no test to be seen":                {"cylinder,volume_ml,test_id\n", "1,21,A\n2,22,A\n3,22\n", 0},
		"a bad id":                          {"test_id,cylinder,volume_ml\n", sound + "#,1,21\n", 1},
		"an id seen before":                 {"test_id,cylinder,volume_ml\n", sound + "B,1,21\nA,3,23\n", 2},
		"a line too long":                   {"test_id,cylinder,volume_ml\n", sound + "B," + strings.Repeat("1", 1<<17) + ",21\n", 0},
	} {
		t.Run(name, func(t *testing.T) {
			tests, err := readString(c.header+c.rows, minute())
			var faults *FaultError
			require.ErrorAs(t, err, &faults)
			require.Len(t, tests, c.given)
			for _, test := range tests {
				requireSound(t, test)
			}
		})
	}
}

func TestReadError(t *testing.T) {
	broken := errors.New("the cable was pulled")
	r := io.MultiReader(strings.NewReader("test_id,cylinder,volume_ml\nA,1,21\nB,1,21\nB,2,x\n"), iotest.ErrReader(broken))
	tests, err := readAll(r, "idle.csv", minute())
	assert.Len(t, tests, 1)
	require.ErrorIs(t, err, broken)
	assert.EqualError(t, err, "idle.csv: cannot be read: the cable was pulled")

	_, err = readAll(io.MultiReader(strings.NewReader("cylinder,volume_ml"), iotest.ErrReader(broken)), "idle.csv", minute())
	require.ErrorIs(t, err, broken)

	dir, err := os.Open(t.TempDir())
	require.NoError(t, err)
	defer dir.Close()
	_, err = readAll(dir, "folder", minute())
	var path *fs.PathError
	require.ErrorAs(t, err, &path)
	assert.Equal(t, "folder: cannot be read: "+refused.Plainly(err).Error(), err.Error(), "the name stands once")
}
