"""Twenty random machine-like networks and their posteriors by a general-purpose Bayesian network library.

Each network: 8 to 16 independent faults with service-like rates, 10 to 20 checks that are noisy-OR or deterministic
with a leak (1 to 5 parents each), some of them observed. The library sees plain conditional tables, nothing about
noisy-OR. Also stored: the library's seconds for all posteriors of one network, median of five, on the machine that
ran the script.
Run: pip install pyagrum && python3 machine_like.py > machine-like.json
"""

import itertools
import json
import random
import statistics
import time

import pyagrum as gum


def draw(rng):
    """One network with evidence of positive probability: checks are sampled from a sampled set of faults."""
    faults = rng.randint(8, 16)
    prior = [round(10 ** rng.uniform(-3, -0.8), 5) for _ in range(faults)]
    checks = []
    for _ in range(rng.randint(10, 20)):
        parents = sorted(rng.sample(range(faults), rng.randint(1, 5)))
        deterministic = rng.random() < 0.3
        link = [1.0 if deterministic else round(rng.uniform(0.3, 0.98), 3) for _ in parents]
        checks.append({"parents": parents, "link": link, "leak": round(rng.uniform(0.002, 0.05), 4)})
    present = set(rng.sample(range(faults), rng.choice([1, 1, 1, 2])))
    observed = {}
    for c in rng.sample(range(len(checks)), rng.randint(5, len(checks))):
        check = checks[c]
        normal = 1 - check["leak"]
        for f, l in zip(check["parents"], check["link"]):
            normal *= 1 - l if f in present else 1
        observed[c] = int(rng.random() >= normal)
    return prior, checks, observed


def network(prior, checks):
    bn = gum.BayesNet()
    for i, p in enumerate(prior):
        bn.add(gum.LabelizedVariable(f"F{i}", "", 2))
        bn.cpt(f"F{i}").fillWith([1 - p, p])
    for c, check in enumerate(checks):
        name = f"T{c}"
        bn.add(gum.LabelizedVariable(name, "", 2))
        for f in check["parents"]:
            bn.addArc(f"F{f}", name)
        for bits in itertools.product([0, 1], repeat=len(check["parents"])):
            normal = 1 - check["leak"]
            for bit, l in zip(bits, check["link"]):
                normal *= 1 - l if bit else 1
            key = {f"F{f}": bit for f, bit in zip(check["parents"], bits)}
            bn.cpt(name)[key] = [normal, 1 - normal]
    return bn


def query(bn, faults, observed):
    inference = gum.LazyPropagation(bn)
    inference.setEvidence({f"T{c}": o for c, o in observed.items()})
    inference.makeInference()
    posterior = [float(inference.posterior(f"F{i}")[1]) for i in range(faults)]
    return float(inference.evidenceProbability()), posterior


cases = []
for seed in range(20):
    prior, checks, observed = draw(random.Random(seed))
    bn = network(prior, checks)
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        evidence, posterior = query(bn, len(prior), observed)
        seconds.append(time.perf_counter() - start)
    cases.append({
        "seed": seed, "prior": prior, "tests": checks, "observed": observed,
        "expected": {"evidence": evidence, "posterior": posterior, "seconds": statistics.median(seconds)},
    })
print(json.dumps({"source": f"machine_like.py with pyAgrum {gum.__version__}, LazyPropagation", "cases": cases}))
