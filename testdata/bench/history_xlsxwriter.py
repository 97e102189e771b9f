"""The cells of a history workbook with xlsxwriter in its constant_memory mode:
usage RESULTS.csv OUT.xlsx. The results are what leakback check --format csv
prints; the columns that it does not print are written as constants."""
import csv
import sys

import xlsxwriter

HEADS = ["Test", "Engine", "Condition", "Runs", "Interval s", "Cylinder", "Bound", "Rate\nmL/min",
         "± standard\nmL/min", "± expanded\n95 %", "× median", "Verdict", "Findings", "Test verdict", "Test findings"]
WORDS = {"pass": "pass", "fail": "FAIL", "undecided": "undecided", "unread": "not read"}

book = xlsxwriter.Workbook(sys.argv[2], {"constant_memory": True})
sheet = book.add_worksheet("Tests")
head = book.add_format({"bold": True, "text_wrap": True, "bottom": 2})
text = book.add_format({"bottom": 1, "indent": 1})
bold = book.add_format({"bottom": 1, "indent": 1, "bold": True})
number = book.add_format({"bottom": 1, "num_format": "0.0"})
sheet.freeze_panes(1, 0)
sheet.repeat_rows(0)
sheet.set_landscape()
sheet.set_column(0, len(HEADS) - 1, 12)
for column, name in enumerate(HEADS):
    sheet.write_string(0, column, name, head)

row = 0
with open(sys.argv[1], newline="") as results:
    for r in csv.DictReader(results):
        row += 1
        sheet.write_string(row, 0, r["test_id"], text)
        sheet.write_string(row, 2, "idle", text)
        sheet.write_number(row, 3, 1, number)
        sheet.write_number(row, 4, 60, number)
        sheet.write_number(row, 5, int(r["cylinder"]), number)
        if r["rate_bound"]:
            sheet.write_string(row, 6, r["rate_bound"], text)
        for column, key in ((7, "rate_ml_min"), (8, "standard_uncertainty_ml_min"),
                            (9, "standard_uncertainty_ml_min"), (10, "ratio_to_median")):
            if r[key]:
                sheet.write_number(row, column, float(r[key]), number)
        for column, key in ((11, "verdict"), (13, "test_verdict")):
            sheet.write_string(row, column, WORDS[r[key]], bold if r[key] == "fail" else text)
        for column, key in ((12, "findings"), (14, "test_findings")):
            if r[key]:
                sheet.write_string(row, column, r[key].replace(";", "; "), text)
sheet.autofilter(0, 0, row, len(HEADS) - 1)
book.close()
