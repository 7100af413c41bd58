#!/usr/bin/env python3
"""Solve every circuit description here with ngspice and store netlists and results.

    apt-get install ngspice && python3 make.py

For each NAME.json (the description) this writes
    NAME.cir          the netlist of the mains-frequency analysis (.ac)
    NAME.NN.cir       the netlist of each two-point resistance (.op with 1 V between the points)
    NAME.result.json  what ngspice answered
To add a circuit write NAME.json and run this again; the test `reference.rs` takes whatever lies here.

Description:
    about        one sentence
    hertz        mains frequency
    supply       {"line", "neutral", "volts", "source_ohm"}
    branches     list of {"name", "from", "to"} and one of
                 "ohm" (resistor), "farad" (capacitor), "ohm" + "henry" (coil), "short": true, "open": true
    resistances  list of [node, node], measured with the supply taken away
Node names are free, without blanks. No loops made of shorts alone: a simulator has no unique answer for them.

Shorts become voltage sources of 0 V, which ngspice treats as exact and whose current it reports. A part of the network that
has no path for direct current to node 0 would make its matrix singular; one resistor of TIE ohms ties such a part down.
As the only tie it carries no direct current; the mains current through it is below the tolerance of the test.
Nodes that no branch at all (closed or with impedance) links to the supply are listed as floating, their voltages left out.
"""

import json
import pathlib
import re
import subprocess
import sys

HERE = pathlib.Path(__file__).parent
TIE = 1e15


def islands(nodes, pairs):
    """Map each node to a representative of those it is joined with."""
    parent = {node: node for node in nodes}

    def root(node):
        while parent[node] != node:
            node = parent[node]
        return node

    for a, b in pairs:
        parent[root(a)] = root(b)
    return {node: root(node) for node in nodes}


def nodes_of(circuit):
    names = []
    for branch in circuit["branches"]:
        for node in (branch["from"], branch["to"]):
            if node not in names:
                names.append(node)
    return names


def ends(branch):
    return branch["from"], branch["to"]


def conducts_dc(branch):
    return not branch.get("open") and "farad" not in branch


def cards(circuit, spice):
    """One or two cards for each branch; a resistor carries its current as i(v…) through a 0 V source in series."""
    for number, branch in enumerate(circuit["branches"]):
        a, b = (spice[node] for node in ends(branch))
        yield f"* {branch['name']}: {branch['from']} to {branch['to']}"
        if branch.get("open"):
            continue
        if branch.get("short"):
            yield f"V{number} {a} {b} DC 0"
            continue
        yield f"V{number} {a} m{number} DC 0"
        if "farad" in branch:
            yield f"C{number} m{number} {b} {branch['farad']!r}"
        elif "henry" in branch:
            yield f"R{number} m{number} k{number} {branch['ohm']!r}"
            yield f"L{number} k{number} {b} {branch['henry']!r}"
        else:
            yield f"R{number} m{number} {b} {branch['ohm']!r}"


def ties(circuit, spice, ground, extra):
    names = nodes_of(circuit)
    pairs = [ends(branch) for branch in circuit["branches"] if conducts_dc(branch)] + extra
    of = islands(names, pairs)
    for number, root in enumerate(sorted({of[node] for node in names} - {of[ground]})):
        yield f"Rtie{number} {spice[root]} 0 {TIE!r}"


def run(path, netlist, wanted):
    """Run ngspice on a netlist and give the vectors printed, in order, as complex numbers."""
    path.write_text("\n".join(netlist) + "\n")
    done = subprocess.run(["ngspice", "-b", path.name], cwd=path.parent, capture_output=True, text=True, check=False)
    found = re.findall(r"^(\S+) = (\S+)$", done.stdout, re.MULTILINE)
    if len(found) != wanted:
        sys.exit(f"{path.name}: {len(found)} of {wanted} values\n{done.stdout}{done.stderr}")
    return [complex(*map(float, value.split(","))) for _, value in found]


def mains(name, circuit):
    names = nodes_of(circuit)
    supply = circuit["supply"]
    spice = {node: f"n{place}" for place, node in enumerate(names)}
    spice[supply["neutral"]] = "0"
    reached = islands(names, [ends(b) for b in circuit["branches"] if not b.get("open")] + [(supply["line"], supply["neutral"])])
    floating = [node for node in names if reached[node] != reached[supply["neutral"]]]
    live = [node for node in names if node not in floating and spice[node] != "0"]
    carrying = [n for n, branch in enumerate(circuit["branches"]) if not branch.get("open")]
    netlist = [f"* {name}: {circuit['about']} Written by make.py."]
    line = spice[supply["line"]]
    # A resistor of 0 ohm would count as 1 mohm; a source of 0 V is exact.
    source = f"Rsource source {line} {supply['source_ohm']!r}" if supply["source_ohm"] else f"Vsource source {line} DC 0"
    netlist += [f"Vsupply source 0 DC 0 AC {supply['volts']!r}", source]
    netlist += cards(circuit, spice)
    netlist += ties(circuit, spice, supply["neutral"], [(supply["line"], supply["neutral"])])
    netlist += [f".ac lin 1 {circuit['hertz']!r} {circuit['hertz']!r}", ".control", "set numdgt=15", "run"]
    for vector in [f"v({spice[node]})" for node in live] + [f"i(v{n})" for n in carrying] + ["i(vsupply)"]:
        netlist += [f"print real({vector})", f"print imag({vector})"]
    netlist += [".endc", ".end"]
    flat = run(HERE / f"{name}.cir", netlist, 2 * (len(live) + len(carrying) + 1))
    values = [[re_part.real, im_part.real] for re_part, im_part in zip(flat[::2], flat[1::2])]
    voltage = dict(zip(live, values)) | {supply["neutral"]: [0.0, 0.0]}
    current = {branch["name"]: [0.0, 0.0] for branch in circuit["branches"]}
    for number, value in zip(carrying, values[len(live) :]):
        current[circuit["branches"][number]["name"]] = value
    return {
        "floating": floating,
        "voltage_v": voltage,
        "current_a": current,
        # ngspice counts a source's current from plus to minus inside it.
        "supply_current_a": [-part for part in values[-1]],
    }


def resistance(name, circuit, number, a, b):
    spice = {node: f"n{place}" for place, node in enumerate(nodes_of(circuit))}
    spice[b] = "0"
    netlist = [f"* {name}: resistance from {a} to {b}. Written by make.py."]
    netlist += [f"Vmeter {spice[a]} 0 DC 1", *cards(circuit, spice), *ties(circuit, spice, b, [(a, b)])]
    netlist += [".op", ".control", "set numdgt=15", "run", "print i(vmeter)", ".endc", ".end"]
    (current,) = run(HERE / f"{name}.{number:02}.cir", netlist, 1)
    # Through a tie at most 1e-15 A can flow: that is open.
    return {"from": a, "to": b, "ohm": -1.0 / current.real if abs(current.real) > 1e-13 else None}


def main():
    version = re.search(r"ngspice-\S+", subprocess.run(["ngspice", "--version"], capture_output=True, text=True, check=True).stdout)
    for path in sorted(HERE.glob("*.json")):
        if path.name.endswith(".result.json"):
            continue
        name, circuit = path.stem, json.loads(path.read_text())
        result = {"solved_by": version.group(0), **mains(name, circuit)}
        result["resistance"] = [resistance(name, circuit, n, *pair) for n, pair in enumerate(circuit["resistances"])]
        (HERE / f"{name}.result.json").write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n")
        print(name)


main()
