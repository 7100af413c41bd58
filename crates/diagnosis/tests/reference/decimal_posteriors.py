"""Posteriors of bn-05, bn-06, bn-07 to 20 digits, for a relative comparison at 1e-12.

The json files print 14 decimals, too few for the small posteriors. Another formula than the crate's: the
alternating sum over sets of abnormal checks (Heckerman 1989), in 50-digit arithmetic, so that the digits which it
loses do not matter.
Run: python3 decimal_posteriors.py > decimal-posteriors.json
"""

import json
import pathlib
from decimal import Decimal, getcontext

getcontext().prec = 50
HERE = pathlib.Path(__file__).parent
ONE = Decimal(1)


def quickscore(prior, tests, observed):
    """P(e) and P(e, fault) by the alternating sum over subsets of abnormal checks; 50 digits outlive the loss."""
    normal = [tests[c] for c, o in observed if o == 0]
    abnormal = [tests[c] for c, o in observed if o == 1]
    keep = [ONE] * len(prior)
    leak = ONE
    for t in normal:
        leak *= 1 - Decimal(repr(t["leak"]))
        for f, l in zip(t["parents"], t["link"]):
            keep[f] *= 1 - Decimal(repr(l))
    p = [Decimal(repr(x)) for x in prior]
    total, joint = Decimal(0), [Decimal(0)] * len(p)

    def visit(k, sign, leak, keep):
        nonlocal total
        if k == len(abnormal):
            terms = [(1 - a) + a * b for a, b in zip(p, keep)]
            product = sign * leak
            for t in terms:
                product *= t
            total += product
            for i, t in enumerate(terms):
                joint[i] += product / t * (p[i] * keep[i])
            return
        visit(k + 1, sign, leak, keep)
        t = abnormal[k]
        without = list(keep)
        for f, l in zip(t["parents"], t["link"]):
            without[f] *= 1 - Decimal(repr(l))
        visit(k + 1, -sign, leak * (1 - Decimal(repr(t["leak"]))), without)

    visit(0, 1, leak, keep)
    return total, [j / total for j in joint]


result = {"source": "decimal_posteriors.py, Python decimal with 50 digits, alternating sum", "networks": {}}
for name in ["bn-05-local-60x120", "bn-06-spread-60x120", "bn-07-spread-14-abnormal"]:
    instance = json.loads((HERE / f"{name}.json").read_text())["instance"]
    observed = [(int(c), o) for c, o in instance["observed"].items()]
    evidence, posterior = quickscore(instance["prior"], instance["tests"], observed)
    result["networks"][name] = {
        "evidence": f"{evidence:.20e}",
        "posterior": [f"{x:.20e}" for x in posterior],
    }
print(json.dumps(result, indent=1))
