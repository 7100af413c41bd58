"""Twenty random machines whose parts fail in several ways, and their posteriors by a general-purpose library.

Each machine: 8 to 14 independent parts with one to four fault modes at service-like rates; 10 to 18 checks, normal or
not, which a mode of one to four parts turns abnormal: noisy-OR over modes, or deterministic with a leak. Some are
observed. The library sees one variable for each part (sound, and each mode) and plain conditional tables.
Run: pip install pyagrum && python3 machine_modes.py > machine-modes.json
     python3 machine_modes.py --time    the library's seconds for all posteriors of the twenty, best of five
"""

import itertools
import json
import random
import sys
import time

import pyagrum as gum


def draw(rng):
    """One machine with evidence of positive probability: checks are sampled from a sampled state of the parts."""
    parts = [
        [round(10 ** rng.uniform(-3, -1.2), 5) for _ in range(rng.randint(1, 4))]
        for _ in range(rng.randint(8, 14))
    ]
    checks = []
    for _ in range(rng.randint(10, 18)):
        deterministic = rng.random() < 0.3
        links = []
        for part in sorted(rng.sample(range(len(parts)), rng.randint(1, 4))):
            for mode in range(len(parts[part])):
                # Some modes of a part do not show in this check.
                if rng.random() < 0.7:
                    link = 1.0 if deterministic else round(rng.uniform(0.3, 0.98), 3)
                    links.append({"part": part, "mode": mode, "link": link})
        checks.append({"links": links, "leak": round(rng.uniform(0.002, 0.05), 4)})
    truth = {p: rng.randrange(len(parts[p])) for p in rng.sample(range(len(parts)), rng.choice([1, 1, 1, 2]))}
    observed = {}
    for c in rng.sample(range(len(checks)), rng.randint(5, len(checks))):
        observed[c] = int(rng.random() >= normal(checks[c], truth))
    return parts, checks, observed


def normal(check, modes):
    """Probability that a check is normal; `modes` gives the mode of each part that is not sound."""
    p = 1 - check["leak"]
    for link in check["links"]:
        if modes.get(link["part"]) == link["mode"]:
            p *= 1 - link["link"]
    return p


def network(parts, checks):
    bn = gum.BayesNet()
    for i, modes in enumerate(parts):
        bn.add(gum.LabelizedVariable(f"P{i}", "", len(modes) + 1))
        bn.cpt(f"P{i}").fillWith([1 - sum(modes)] + modes)
    for c, check in enumerate(checks):
        bn.add(gum.LabelizedVariable(f"C{c}", "", 2))
        parents = sorted({link["part"] for link in check["links"]})
        for p in parents:
            bn.addArc(f"P{p}", f"C{c}")
        for states in itertools.product(*(range(len(parts[p]) + 1) for p in parents)):
            p = normal(check, {part: s - 1 for part, s in zip(parents, states) if s > 0})
            bn.cpt(f"C{c}")[{f"P{part}": s for part, s in zip(parents, states)}] = [p, 1 - p]
    return bn


def query(bn, parts, observed):
    inference = gum.LazyPropagation(bn)
    inference.setEvidence({f"C{c}": o for c, o in observed.items()})
    inference.makeInference()
    posterior = [[float(x) for x in inference.posterior(f"P{i}").tolist()[1:]] for i in range(len(parts))]
    return float(inference.evidenceProbability()), posterior


def seconds(bn, parts, observed):
    best = float("inf")
    for _ in range(5):
        start = time.perf_counter()
        query(bn, parts, observed)
        best = min(best, time.perf_counter() - start)
    return best


machines = [draw(random.Random(1000 + seed)) for seed in range(20)]
networks = [network(parts, checks) for parts, checks, _ in machines]
if "--time" in sys.argv:
    print(sum(seconds(bn, m[0], m[2]) for bn, m in zip(networks, machines)))
else:
    cases = []
    for seed, (bn, (parts, checks, observed)) in enumerate(zip(networks, machines)):
        evidence, posterior = query(bn, parts, observed)
        expected = {"evidence": evidence, "posterior": posterior, "seconds": seconds(bn, parts, observed)}
        cases.append(
            {"seed": 1000 + seed, "parts": parts, "checks": checks, "observed": observed, "expected": expected}
        )
    source = f"machine_modes.py with pyAgrum {gum.__version__}, LazyPropagation"
    print(json.dumps({"source": source, "cases": cases}))
