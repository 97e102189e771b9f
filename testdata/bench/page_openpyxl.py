"""Writes a page like leakback's customer page with openpyxl, as a peer for
timing: the same kinds of cells, styles and chart for six invented cylinders.

    python3 testdata/bench/page_openpyxl.py page.xlsx
"""
import sys

from openpyxl import Workbook
from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

VOLUMES = [14, 15, 18.5, 31, 13.5, 14]
LIMIT, INTERVAL_S = 40.0, 30.0
FACTS = ["Workshop", "Vehicle", "Cranks", "Technician", "VIN", "Rail pressure", "Customer", "Odometer/hours",
         "Engine speed", "Work order", "Engine", "Battery voltage", "Date and time", "Engine serial",
         "Fuel temperature", "Test", "Condition", "Back-pressure", "Runs", "Injectors", "Tube", "Complaint"]
PROSE = ["Findings", "Look at next", "What this test does not see", "Limits", "Decision rule", "Cautions"]


def main(path):
    book = Workbook()
    page = book.active
    page.title = "Report"
    thin = Side(style="thin", color="999999")
    page["A1"] = "Injector return-flow test"
    page["A1"].font = Font(name="Carlito", size=16, bold=True)
    page["A2"] = "The return at cylinder 4 is over the limit."
    for i, fact in enumerate(FACTS):
        cell = page.cell(4 + i // 3, 1 + 3 * (i % 3), fact)
        cell.font = Font(name="Carlito", size=8, color="555555")
        page.cell(cell.row, cell.column + 1, "invented").border = Border(bottom=thin)
    top = 13
    for column, name in enumerate(["Cylinder", "Verdict", "Volume", "Time", "Rate", "U", "Ratio", "Limit"], 1):
        page.cell(top, column, name).font = Font(name="Carlito", size=9, bold=True)
    rates = [60 * v / INTERVAL_S for v in VOLUMES]
    median = sorted(rates)[2] / 2 + sorted(rates)[3] / 2
    for i, (volume, rate) in enumerate(zip(VOLUMES, rates), 1):
        row = [i, "FAIL" if rate > LIMIT else "pass", volume, INTERVAL_S, rate, 0.07 * rate, rate / median, LIMIT]
        for column, value in enumerate(row, 1):
            cell = page.cell(top + i, column, value)
            cell.number_format = "0.0"
            cell.border = Border(bottom=thin)
            if rate > LIMIT:
                cell.fill = PatternFill("solid", fgColor="EEEEEE")
        page.cell(top + i, 10, median)
    for i, heading in enumerate(PROSE):
        page.cell(top + 8 + 2 * i, 1, heading).font = Font(name="Carlito", size=10, bold=True)
        text = page.cell(top + 9 + 2 * i, 1, "A paragraph of the page. " * 20)
        text.alignment = Alignment(wrap_text=True, vertical="top")
        page.merge_cells(start_row=text.row, start_column=1, end_row=text.row, end_column=8)
        page.row_dimensions[text.row].height = 60
    bars, line = BarChart(), LineChart()
    bars.add_data(Reference(page, min_col=5, min_row=top + 1, max_row=top + 6))
    line.add_data(Reference(page, min_col=8, min_row=top + 1, max_row=top + 6))
    line.add_data(Reference(page, min_col=10, min_row=top + 1, max_row=top + 6))
    bars += line
    page.add_chart(bars, "J13")
    page.print_area = "A1:L40"
    page.sheet_properties.pageSetUpPr.fitToPage = True
    readings = book.create_sheet("Readings")
    readings.append(["run", "cylinder", "volume as typed", "volume_ml", "interval_s", "graduation_ml", "capacity_ml"])
    for i, volume in enumerate(VOLUMES, 1):
        readings.append([1, i, str(volume), volume, INTERVAL_S, 1, 100])
    limits = book.create_sheet("Limits")
    for key, value in [("healthy_cv", 0.15), ("false_alarm", 0.01), ("false_hint", 0.05), ("practical_ratio", 1.3),
                       ("repeatability_cv", 0.03), ("common_cv", 0.02), ("timing_s", 0.3), ("max_rate_ml_min", LIMIT)]:
        limits.append(["figure", key, value, "invented"])
    book.save(path)


if __name__ == "__main__":
    main(sys.argv[1])
