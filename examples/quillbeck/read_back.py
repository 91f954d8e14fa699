#!/usr/bin/env python3
"""Reads decisions back as anyone could who knows only docs/formats.md, section "decision".

usage: vialwright decide BOOK --line line.toml --recipe WICK-60 --dry-run --json | read_back.py RECIPE...

Prints one line a vial and checks the document against what the page promises; exits 1 and says
what is missing where the page and the program part. Needs nothing but Python's standard library.
"""

import json
import math
import sys

DISPOSITIONS = {"release", "measure again", "rework", "hold", "scrap", "open"}
OUTCOMES = {"found", "nothing needed", "impossible", "not permitted"}
problems = []


def expect(holds, serial, what):
    if not holds:
        problems.append(f"{serial}: {what}")


def is_probability(p):
    return isinstance(p, dict) and 0 <= p["value"] <= 1 and p["error"] >= 0


def check_contents(serial, contents):
    axes, covariance = contents["axes"], contents["covariance"]
    named = [f"component/{c}" for c in contents["components"]]
    named += [f"stock/{s}" for s in contents["stocks"]] + ["net", "volume"]
    expect(sorted(axes) == sorted(named), serial, "axes name every component, stock, net and volume")
    expect(len(covariance) == len(axes), serial, "one row of covariance an axis")
    amounts = {f"component/{c}": a for c, a in contents["components"].items()}
    amounts.update({f"stock/{s}": a for s, a in contents["stocks"].items()})
    amounts.update(net=contents["net"], volume=contents["volume"])
    for i, axis in enumerate(axes):
        expect(len(covariance[i]) == len(axes), serial, f"covariance row {axis} is whole")
        expect(math.isclose(math.sqrt(max(covariance[i][i], 0)), amounts[axis]["u"], rel_tol=1e-9,
                            abs_tol=1e-12), serial, f"u of {axis} is the root of its variance")
        for j in range(i):
            expect(math.isclose(covariance[i][j], covariance[j][i], rel_tol=1e-9, abs_tol=1e-15),
                   serial, "covariance is symmetric")
    total = sum(a["value"] for a in contents["stocks"].values())
    expect(contents["net"]["value"] <= total + 1e-6, serial, "net is what was dosed, less evaporation")


def check_topups(serial, topups, asked):
    for recipe in asked:
        expect(any(t["recipe"] == recipe for t in topups), serial, f"a top-up answer for {recipe}")
    for topup in topups:
        expect(topup["outcome"] in OUTCOMES, serial, f"a known outcome, not {topup['outcome']}")
        expect(is_probability(topup["odds"]), serial, "odds are a probability with its error")
        expect("value" in topup["cost"] and "unit" in topup["cost"], serial, "cost has a unit")
        if topup["outcome"] in ("impossible", "not permitted"):
            expect(topup["because"] != "", serial, f"why {topup['recipe']} is {topup['outcome']}")


def check(decision, asked):
    serial = decision["serial"]
    expect(decision["disposition"] in DISPOSITIONS, serial, "a known disposition")
    expect(decision["expires"] > decision["as_of"], serial, "the advice expires later")
    for key in ("position", "head", "build", "cpu", "seed"):
        expect(key in decision["computed_from"], serial, f"computed_from.{key}")
    check_contents(serial, decision["contents"])
    for reading in decision["evidence"]["readings"]:
        for key in ("what", "instrument", "value", "unit", "residual", "standardised", "counted"):
            expect(key in reading, serial, f"reading.{key}")
    if "conformity" in decision:
        joint, lines = decision["conformity"]["joint"], decision["conformity"]["lines"]
        expect(is_probability(joint), serial, "joint is a probability with its error")
        for line in lines:
            slack = joint["error"] + line["holds"]["error"] + 1e-12
            expect(joint["value"] <= line["holds"]["value"] + slack, serial,
                   f"all lines hold no more often than {line['line']} alone")
    if decision["disposition"] != "open":
        check_topups(serial, decision["topups"], asked)


def main():
    decisions, asked = json.load(sys.stdin), sys.argv[1:]
    for decision in decisions:
        check(decision, asked)
        net = decision["contents"]["net"]
        print(f"{decision['serial']}  {decision['disposition']:<14} "
              f"{net['value']:.3f} ± {2 * net['u']:.3f} {net['unit']} (k = 2)  {decision['headline']}")
    for problem in problems:
        print("not as documented:", problem, file=sys.stderr)
    if not decisions:
        print("not as documented: no decision at all", file=sys.stderr)
    return 1 if problems or not decisions else 0


if __name__ == "__main__":
    sys.exit(main())
