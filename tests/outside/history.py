"""Works the history of an actuator out again from the readings of its jobs, with other people's arithmetic.

    history.py FILE [FILE ...]

A file holds "jobs" (what each journal tells, oldest first), and what Sayback made of it: "compared",
"next", "rates", "shares". Nothing here is shared with Sayback: the rules are those of common practice,
drift = as found - last as left, a year is 365.25 days, interval = k (E - |AL|) / (|drift| / days)
within 0.5 and 2 times the last and 90 to 1825 days. It ends with "N numbers, 0 off", and with exit
code 1 if one is off.
"""

import datetime
import json
import sys
from decimal import Decimal

import numpy as np
from scipy import stats

from compared import Check


def key(reading):
    return (reading["what"], reading["point"], reading["up"], reading["column"])


def of_stage(job, stage):
    return {key(reading): reading for reading in job["readings"] if reading["stage"] == stage}


def moment(wall):
    return np.datetime64(wall["utc_ms"], "ms")


def days(one, other):
    return (moment(other["at"]) - moment(one["at"])) / np.timedelta64(1, "D")


def check(path):
    with open(path, encoding="utf-8") as file:
        data = json.load(file)
    result = Check(path)
    jobs = data["jobs"]
    drifts = {}
    for at, job in enumerate(jobs):
        for what, found in of_stage(job, "as-found").items():
            for earlier in reversed(jobs[:at]):
                left = of_stage(earlier, "as-left").get(what)
                if left or earlier["adjusted"]:
                    break
            else:
                left = None
            if left and found["deviation"] is not None:
                drift = Decimal(found["deviation"]) - Decimal(left["deviation"])
                drifts[job["run"], what] = (drift, days(left, found), found)
    told = {(one["run"], tuple(one["key"])): one for one in data["compared"]}
    result.same("which are compared", sorted(map(str, told)), sorted(map(str, drifts)))
    for name, (drift, time, _) in drifts.items():
        one = told.get(name)
        if one is None:
            continue
        result.same(f"drift of {name}", Decimal(one["drift"]), drift)
        result.near(f"days of {name}", one["days"], time)
        result.near(f"drift a year of {name}", one["per_year"], float(drift) / time * 365.25)
    # The interval: the shortest of the newest job that was compared.
    newest = [job["run"] for job in jobs if any(run == job["run"] for run, _ in drifts)][-1]
    at = [job["run"] for job in jobs].index(newest)
    shortest = None
    for (run, what), (drift, time, found) in drifts.items():
        if run != newest:
            continue
        left = of_stage(jobs[at], "as-left")[what]
        room = float(found["limit"]) - abs(float(left["deviation"]))
        raw = np.inf if drift == 0 else 0.8 * time * room / abs(float(drift))
        interval = float(np.clip(np.clip(raw, 0.5 * time, 2.0 * time), 90, 1825))
        if shortest is None or raw < shortest[2]:
            shortest = (interval, left, raw)
    result.near("the next interval", data["next"]["interval"], shortest[0])
    local = np.datetime64(shortest[1]["at"]["utc_ms"] // 60000 + shortest[1]["at"]["offset_min"], "m")
    due = local.astype("datetime64[D]").astype(datetime.date) + datetime.timedelta(days=int(shortest[0]))
    result.same("the next date", data["next"]["due"], due.isoformat())
    rates = [
        float(drift) / time * 365.25
        for (run, what), (drift, time, _) in drifts.items()
        if what == tuple(data["rates"]["key"])
    ]
    result.near("mean rate", data["rates"]["mean"], np.mean(rates))
    result.near("standard deviation of the rates", data["rates"]["deviation"], np.std(rates, ddof=1))
    for part, n, low, high in data["shares"]:
        wanted = stats.binomtest(part, n).proportion_ci(0.95, "exact")
        result.near(f"lower end of {part} of {n}", low, wanted.low)
        result.near(f"upper end of {part} of {n}", high, wanted.high)
    return result


def main():
    results = [check(path) for path in sys.argv[1:]]
    for result in results:
        print("\n".join(result.off))
    off = sum(len(result.off) for result in results)
    print(f"{sum(result.count for result in results)} numbers, {off} off")
    return 1 if off or not results else 0


if __name__ == "__main__":
    sys.exit(main())
