"""Makes the PDF layouts in `layouts/` (fpdf2 2.8.9; call: python3 make_pdfs.py, in this folder).

The vehicles, modules and words are invented. Creation times are fixed, so that the files stay the same.
"""
import datetime
import json

from fpdf import FPDF

WHEN = datetime.datetime(2026, 1, 1, tzinfo=datetime.timezone.utc)


def sheet(compress=True):
    pdf = FPDF(format="A4")
    pdf.set_creation_date(WHEN)
    pdf.set_compression(compress)
    pdf.add_page()
    pdf.set_font("Helvetica", size=10)
    return pdf


def line(pdf, text, size=10, high=6, style=""):
    pdf.set_font("Helvetica", style=style, size=size)
    pdf.cell(0, high, text, new_x="LMARGIN", new_y="NEXT")


def done(pdf, name, truth):
    pdf.output(f"layouts/{name}.pdf")
    for key in ("vehicle", "taken_at", "odometer_km", "ambient_c", "humidity_pct", "battery_v"):
        truth.setdefault(key, None)
    with open(f"layouts/{name}.json", "w") as file:
        json.dump({"file": f"{name}.pdf", **truth}, file, indent=1)
        file.write("\n")


def node(answered, *codes):
    return {"answered": answered, "codes": list(codes)}


def headed():
    pdf = sheet()
    line(pdf, "Control unit report", 18, 12, "B")
    line(pdf, "Vehicle: QM-12        Date: 28.01.2026 06:30")
    line(pdf, "Odometer: 44,100 km        Battery voltage: 12.4 V")
    for name, rows in [
        ("Body control module", ["U0126-87  Lost communication with steering angle sensor module (stored)",
                                 "U0121-87  Lost communication with anti-lock brake controller (pending)"]),
        ("Steering angle sensor module", ["No response"]),
        ("Anti-lock brake controller", ["U0126-87  Lost communication with steering angle sensor module (confirmed)"]),
    ]:
        pdf.ln(6)
        line(pdf, name, 13, 9, "B")
        for row in rows:
            line(pdf, row)
    done(pdf, "17_headed", {
        "vehicle": "QM-12", "taken_at": "2026-01-28T06:30:00Z", "odometer_km": 44100, "battery_v": 12.4,
        "nodes": {"body": node(True, "U0126-87 stored", "U0121-87 pending"),
                  "steering-angle": node(False), "brake": node(True, "U0126-87 confirmed")}})


def tabled():
    pdf = sheet()
    line(pdf, "Findings of the morning round", 16, 12)
    line(pdf, "Vehicle no.: QM-12")
    line(pdf, "Inspected on: 29 January 2026, 06:45")
    pdf.ln(4)
    widths = (55, 25, 25, 15, 70)
    rows = [("Control unit", "Code", "Status", "Count", "Description"),
            ("Body control module", "U0126", "stored", "3", "Steering angle sensor not heard"),
            ("", "B1015", "active", "1", "Wiper circuit open"),
            ("Instrument cluster", "U0126", "stored", "2", "Steering angle sensor not heard"),
            ("Steering angle sensor module", "", "no answer", "", ""),
            ("Tail lift controller", "", "no faults", "", "")]
    for row in rows:
        for width, text in zip(widths, row):
            pdf.cell(width, 7, text, border=1)
        pdf.ln(7)
    done(pdf, "18_tabled", {
        "vehicle": "QM-12", "taken_at": "2026-01-29T06:45:00Z",
        "nodes": {"body": node(True, "U0126 stored x3", "B1015 confirmed x1"),
                  "cluster": node(True, "U0126 stored x2"),
                  "steering-angle": node(False), "tail-lift": node(True)}})


def two_pages():
    pdf = sheet(compress=False)
    line(pdf, "Vehicle: QM-12")
    line(pdf, "Date: 30.01.2026")
    line(pdf, "Time: 05:05")
    line(pdf, "Ambient temperature: -7.5 \xb0C")
    pdf.ln(6)
    line(pdf, "Summary", 13, 9)
    line(pdf, "U0126 in two control units, U0140 in one")
    pdf.add_page()
    line(pdf, "1. Central gateway", 13, 9)
    line(pdf, "Code: U0126    Status: pending    Count: 2")
    line(pdf, "Code: U0140    Status: stored    Count: 1")
    pdf.ln(6)
    line(pdf, "2. Engine control module", 13, 9)
    line(pdf, "Code: U0126    Status: stored    Count: 4")
    pdf.ln(6)
    line(pdf, "3. Steering angle sensor module", 13, 9)
    line(pdf, "Communication: failed to respond")
    done(pdf, "19_two_pages", {
        "vehicle": "QM-12", "taken_at": "2026-01-30T05:05:00Z", "ambient_c": -7.5,
        "nodes": {"gateway": node(True, "U0126 pending x2", "U0140 stored x1"),
                  "engine": node(True, "U0126 stored x4"), "steering-angle": node(False)}})


def fixed():
    pdf = sheet()
    pdf.set_font("Courier", size=9)
    for text in [
        "FLEET UNIT : QM-12",
        "SCAN DATE  : 2026-01-31 06:10",
        "ODO        : 44300 km",
        "",
        "MODULE                 ANSWER  CODES",
        "Body control module    yes     U0126 U0121",
        "Steering angle sensor  no",
        "Tail lift controller   yes     -",
        "Trailer module         not fitted",
    ]:
        pdf.cell(0, 5, text, new_x="LMARGIN", new_y="NEXT")
    done(pdf, "20_fixed", {
        "vehicle": "QM-12", "taken_at": "2026-01-31T06:10:00Z", "odometer_km": 44300,
        "nodes": {"body": node(True, "U0126", "U0121"), "steering-angle": node(False),
                  "tail-lift": node(True)}})


for make in (headed, tabled, two_pages, fixed):
    make()
