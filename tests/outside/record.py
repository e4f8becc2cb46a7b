"""Works every number of a record out again, from its CSV alone, with other people's arithmetic.

    record.py CSV [CSV ...]          numbers, with numpy, scipy and uncertainties
    record.py --schema SCHEMA JSON [JSON ...]    shape, with jsonschema

Nothing here is shared with Sayback: formulas from the published sources named beside them and from
common practice. It ends with "N numbers, 0 off", and with exit code 1 if one is off or is not checked.
"""

import csv
import json
import sys
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
from scipy.optimize import linprog
from uncertainties import ufloat

from compared import Check


def rounded(number, like):
    """Half to even (ISO 80000-1), with as many decimals as the shown one has; never minus zero."""
    shown = Decimal(number).quantize(Decimal(like), ROUND_HALF_EVEN)
    return str(abs(shown) if shown == 0 else shown)


def significant(number):
    """Two significant digits, half to even."""
    number = Decimal(repr(float(number)))
    return str(number.quantize(Decimal(1).scaleb(number.adjusted() - 1), ROUND_HALF_EVEN))


def number(text):
    return float(text.lstrip("'±≥\u00a0").split()[0])


def of_meter(reading, percent, counts, resolution):
    """Standard uncertainty from a specification: rectangular (GUM 4.3.7)."""
    return (percent / 100 * abs(reading) + counts * resolution) / np.sqrt(3)


def span_error(signal, i):
    return i["lo"] + (i["hi"] - i["lo"]) * (signal if i["action"] == "direct" else 100 - signal) / 100


def narrowest(x, y):
    """Half the width of the narrowest band of straight lines around the points: a linear programme."""
    ones = np.ones_like(x)
    bounds = [(None, None), (None, None), (0, None)]
    above = np.column_stack([-ones, -x, -ones])
    below = np.column_stack([ones, x, -ones])
    found = linprog([0, 0, 1], A_ub=np.vstack([above, below]), b_ub=np.concatenate([-y, y]), bounds=bounds)
    return found.fun


def run(i, rows):
    """Terms of ANSI/ISA-51.1 and IEC 61298-2; all in % of span."""
    x = np.array(sorted({point for point, _ in rows}))
    up = np.array([rows[point, "up"] for point in x])
    down = np.array([rows[point, "down"] for point in x])
    errors = np.concatenate([up - x, down - x])
    mean = (up + down) / 2
    line = mean[0] + (mean[-1] - mean[0]) * (x - x[0]) / (x[-1] - x[0])
    residuals = mean - line
    figures = {
        "inaccuracy above": max(errors.max(), 0),
        "inaccuracy below": min(errors.min(), 0),
        "hysteresis": np.abs(down - up).max(),
        "linearity, independent": narrowest(x, mean),
        "linearity, terminal-based": residuals[np.abs(residuals).argmax()],
    }
    if "reading_error" in i:
        parts = [i["reading_error"], i.get("source_percent", 0.0)]
        figures["U"] = 2 * np.sqrt(sum((part / np.sqrt(3)) ** 2 for part in parts))
        figures["TUR"] = i["inaccuracy"] / figures["U"]
    return figures


def centre(i, _):
    fraction = i["r_aw"] / (i["r_aw"] + i["r_wb"]) if "r_wb" in i else i["r_aw"] / i["r_ab"]
    figures = {
        "fraction": 100 * fraction,
        "centring error": 100 * (fraction - 0.5),
        "target": i["r_ab"] / 2,
        "change": i["r_ab"] / 2 - i["r_aw"],
    }
    if "electrical_angle" in i:
        figures["turn of potentiometer"] = (0.5 - fraction) * i["electrical_angle"]
    if {"electrical_angle", "gear_ratio", "travel"} <= i.keys():
        half = i["travel"] / 2 * i["gear_ratio"] / i["electrical_angle"]
        margin = min(fraction - half, 1 - fraction - half)
        figures["predicted low end"] = (fraction - half) * i["r_ab"]
        figures["predicted high end"] = (fraction + half) * i["r_ab"]
        figures["margin"] = 100 * margin
        figures["margin angle"] = margin * i["electrical_angle"]
    return figures


def diagnosis(i, _):
    residual = i["r_aw"] + i["r_wb"] - i["r_ab"]
    return {
        "residual": residual,
        "residual of total": 100 * residual / i["r_ab"],
        "total from nominal": 100 * (i["r_ab"] - i["nominal"]) / i["nominal"],
        "fraction": 100 * i["r_aw"] / (i["r_aw"] + i["r_wb"]),
    }


def ends(i, _):
    closed, open_ = i["r_closed"] / i["r_ab"], i["r_open"] / i["r_ab"]
    return {
        "closed": 100 * closed,
        "open": 100 * open_,
        "margin": 100 * min(closed, open_, 1 - closed, 1 - open_),
        "track used": 100 * abs(open_ - closed),
    }


def moved(i, _):
    change = i["after"] - i["before"]
    figures = {"change": change, "change of track": 100 * change / i["r_ab"]}
    if {"move", "electrical_angle", "gear_ratio", "travel"} <= i.keys():
        figures["expected change"] = i["move"] * i["travel"] * i["gear_ratio"] / i["electrical_angle"]
    return figures


def signal(i, _):
    expected = span_error(i["point"], i)
    span = i["hi"] - i["lo"]
    figures = {"expected": expected, "deviation": 100 * (i["measured"] - expected) / span}
    if "meter_percent" in i:
        u = of_meter(i["measured"], i["meter_percent"], i["meter_counts"], i["meter_resolution"])
        figures["U"] = 2 * u * 100 / span
    return figures


def position(i, _):
    expected = 100 * (i["signal"] - i["lo"]) / (i["hi"] - i["lo"])
    expected = expected if i["action"] == "direct" else 100 - expected
    return {"expected": expected, "position": i["position"], "deviation": i["position"] - expected}


def strokes(i, _):
    figures = {"asymmetry": 100 * abs(i["open"] - i["close"]) / np.mean([i["open"], i["close"]])}
    if "nameplate" in i:
        figures["opening from nameplate"] = 100 * (i["open"] / i["nameplate"] - 1)
        figures["closing from nameplate"] = 100 * (i["close"] / i["nameplate"] - 1)
    return figures


def meter(i, _):
    allowed = i["meter_percent"] / 100 * abs(i["reading"]) + i["meter_counts"] * i["meter_resolution"]
    return {
        "error": i["reading"] - i["known"],
        "largest error": allowed + i["known_tolerance"] / 100 * i["known"],
    }


def action(i, _):
    places = [i["at_low"], i["at_mid"], i["at_high"]]
    return {"spread": max(places) - min(places)}


CALCULATIONS = {
    "up-down-run": run,
    "pot-centre": centre,
    "pot-diagnosis": diagnosis,
    "ends-check": ends,
    "move-test": moved,
    "signal-point": signal,
    "as-found-position": position,
    "stroke-time": strokes,
    "meter-check": meter,
    "action": action,
    "isolation": lambda i, _: {
        "largest": max((i["v_ab"], i["v_aw"], i["v_wb"]), key=abs),
        "limit": i["limit"],
    },
    "tighten-shift": lambda i, _: {
        "shift": i["after"] - i["before"],
        "shift of track": 100 * (i["after"] - i["before"]) / i["r_ab"],
    },
    "sweep": lambda i, _: {
        "jump": 100 * abs(i["jump"]) / i["r_ab"],
        "lowest": i["minimum"],
        "highest": i["maximum"],
    },
    "hunting": lambda i, _: {"starts an hour": i["starts"] * 3600 / i["window"]},
    "travel": lambda i, _: {
        "travel": i["open"] - i["closed"],
        "deviation": 100 * (i["open"] - i["closed"] - i["nominal"]) / i["nominal"],
    },
    "loss-of-signal": lambda i, _: {
        "from wanted": i["after"] - {"close": 0, "open": 100, "stay": i["before"]}[i["wanted"]]
    },
}

# Which figure is held against which input; the last is how its uncertainty is known.
JUDGED = {
    ("up-down-run", "inaccuracy above"): ("inaccuracy", "figure"),
    ("up-down-run", "inaccuracy below"): ("inaccuracy", "figure"),
    ("up-down-run", "hysteresis"): ("hysteresis", None),
    ("up-down-run", "linearity, independent"): ("linearity", None),
    ("signal-point", "deviation"): ("limit", "figure"),
    ("as-found-position", "deviation"): ("limit", None),
    ("pot-diagnosis", "total from nominal"): ("tolerance", "total"),
    ("pot-centre", "centring error"): ("good", "fraction"),
    ("tighten-shift", "shift of track"): ("limit", None),
    ("ends-check", "margin"): ("margin", "ends"),
    ("sweep", "jump"): ("limit", None),
    ("stroke-time", "opening from nameplate"): ("tolerance", None),
    ("stroke-time", "closing from nameplate"): ("tolerance", None),
    ("stroke-time", "asymmetry"): ("asymmetry", None),
}


def expanded(known, figures, i, spec):
    """U of a result, with k = 2, by the propagation of the package uncertainties."""
    if known == "figure":
        return figures.get("U")
    if known is None or spec is None:
        return None
    ohms = lambda name: ufloat(i[name], of_meter(i[name], *spec))
    if known == "total":
        return 2 * (100 * ohms("r_ab") / i["nominal"]).std_dev
    if known == "fraction":
        aw = ohms("r_aw")
        of = aw + ohms("r_wb") if "r_wb" in i else ohms("r_ab")
        return 2 * (100 * aw / of).std_dev
    total = ohms("r_ab")
    return max(2 * (100 * ohms(name) / total).std_dev for name in ("r_closed", "r_open"))


def classes(value, low, high, u):
    """Simple acceptance, and the class with a guard band w = U (ILAC-G8 4.2.3); on a limit the better one."""
    slack = 1e-9
    inside = lambda by: low + by - slack <= value <= high - by + slack
    simple = "accepted" if inside(0) else "not accepted"
    if u is None:
        return simple, ""
    if low + u <= high - u + slack and inside(u):
        return simple, "pass"
    if inside(0):
        return simple, "conditional pass"
    return simple, "conditional fail" if inside(-u) else "fail"


def specifications(rows):
    """The meters on the plate: percent, counts, one count, by the unit of their readings."""
    plate = {row["step"]: row for row in rows if row["row"] == "plate"}
    found = {}
    for item, row in plate.items():
        stem = item.removesuffix("-resolution")
        try:
            parts = [float(plate[f"{stem}-{part}"]["value"]) for part in ("percent", "counts", "resolution")]
        except (KeyError, ValueError):
            continue
        found.setdefault(row["unit"], []).append(parts)
    return {unit: specs[0] for unit, specs in found.items() if len(specs) == 1}


def read_over_points(rows, before):
    """The reading set that was read last before a record, as it stood then."""
    sets = [row for row in rows if row["row"] == "answer" and row["point_percent"] and int(row["seq"]) < before]
    if not sets:
        return {}
    step = max(sets, key=lambda row: int(row["seq"]))["step"]
    of_step = [row for row in sets if row["step"] == step]
    # A correction has the step of its set too, so the latest of each point is the one that counted.
    return {(float(row["point_percent"]), row["direction"]): float(row["value"]) for row in of_step}


def numbers(path):
    check = Check(path)
    rows = list(csv.DictReader(open(path, encoding="utf-8", newline="")))
    specs = specifications(rows)
    for row in rows:
        if row["row"] != "answer" or not row["unit"] or row["unit"] == "none":
            continue
        spec = specs.get(row["unit"])
        u = 0 if spec is None else 2 * of_meter(float(row["value"]), *spec)
        shown = row["uncertainty"].split()[0] if row["uncertainty"] else ""
        check.same(f"U of record {row['seq']}", shown, significant(u) if u > 0 else "")
    worked_out = {}
    for row in rows:
        if row["row"] != "finding" or not row["column"]:
            continue
        key = (row["seq"], row["calculation"])
        if key not in worked_out:
            given = {}
            for other in rows:
                if other["row"] == "input" and other["seq"] == row["seq"]:
                    text = other["value"]
                    try:
                        given[other["column"]] = float(text)
                    except ValueError:
                        given[other["column"]] = text
            calculation = CALCULATIONS.get(row["calculation"])
            if calculation is None:
                check.unknown(f"calculation {row['calculation']}")
                continue
            over = read_over_points(rows, int(row["seq"]))
            worked_out[key] = (given, calculation(given, over))
        what = f"{row['calculation']}, {row['column']} of record {row['seq']}"
        figures = worked_out[key][1]
        if row["column"] not in figures:
            check.unknown(what)
        elif row["unrounded"]:
            check.near(what, row["unrounded"], figures[row["column"]])
            check.same(f"{what}, shown", row["value"], rounded(row["unrounded"], row["value"]))
    for key, (_, figures) in worked_out.items():
        shown = {row["column"] for row in rows if row["row"] == "finding" and (row["seq"], row["calculation"]) == key}
        check.same(f"figures of {key[1]}, record {key[0]}", sorted(shown), sorted(figures))
    for row in rows:
        if row["row"] != "decision":
            continue
        made = [key for key in worked_out if key[0] == row["seq"]]
        judged = JUDGED.get((made[0][1], row["column"])) if made else None
        what = f"{row['column']} of record {row['seq']} against its limit"
        if judged is None:
            check.unknown(what)
            continue
        given, figures = worked_out[made[0]]
        limit = given[judged[0]]
        low, high = (limit, 100) if judged[1] == "ends" else (-limit, limit)
        value = figures[row["column"]]
        u = expanded(judged[1], figures, given, specs.get("ohm"))
        u = u if u else None
        simple, guarded = classes(value, low, high, u)
        check.near(f"{what}, limit", number(row["limit"]), limit)
        check.same(f"{what}, value", row["value"], rounded(repr(float(value)), row["value"]))
        check.same(f"{what}, simple acceptance", row["grade"], simple)
        check.same(f"{what}, guard band", row["verdict"], guarded)
        shown = row["uncertainty"].split()[0] if row["uncertainty"] else ""
        check.same(f"{what}, U", shown, significant(u) if u else "")
        tur = "" if u is None or judged[1] == "ends" else rounded(repr(float(limit / u)), "0.1")
        check.same(f"{what}, TUR", row["tur"], tur)
    # Nothing that a spreadsheet would take for a formula; numbers stay numbers.
    for row in rows:
        for name, cell in row.items():
            check.cells += 1
            try:
                float(cell)
            except ValueError:
                if cell.lstrip().startswith(("=", "+", "-", "@")):
                    check.off.append(f"{path}: {name} {cell!r} would be a formula")
    return check


def shape(schema, paths):
    from jsonschema import Draft202012Validator

    schema = json.load(open(schema, encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
    for path in paths:
        check = Check(path)
        record = json.load(open(path, encoding="utf-8"))
        check.count = 1
        check.off = [f"{path}: {'/'.join(map(str, e.absolute_path))}: {e.message}" for e in validator.iter_errors(record)]
        # It must be able to refuse, or its silence says nothing.
        record["surprise"] = 1
        if not list(validator.iter_errors(record)):
            check.off.append(f"{path}: the schema takes anything")
        yield check


def main(arguments):
    if arguments[0] == "--schema":
        checks = list(shape(arguments[1], arguments[2:]))
    else:
        checks = [numbers(path) for path in arguments]
    for check in checks:
        for off in check.off:
            print(off)
        print(f"{check.name}: {check.count} checked, {check.cells} cells harmless, {len(check.off)} off")
    off = sum(len(check.off) for check in checks)
    print(f"{sum(check.count for check in checks)} numbers, {off} off")
    return 1 if off or not checks else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
