"""Times ruptures (PyPI) on the series given as JSON on standard input; prints seconds of processor time, or null where not asked for.

    {"series": [...], "penalty": p, "changes": k, "pelt": true}
"""
import json
import sys
import time

import numpy as np
import ruptures as rpt

asked = json.load(sys.stdin)
y = np.array(asked["series"]).reshape(-1, 1)
out = {}
begun = time.process_time()
rpt.KernelCPD(kernel="linear", min_size=1, jump=1).fit(y).predict(pen=asked["penalty"])
out["kernel"] = time.process_time() - begun
if asked["pelt"]:
    begun = time.process_time()
    rpt.Pelt(model="l2", min_size=1, jump=1).fit(y).predict(pen=asked["penalty"])
    out["pelt"] = time.process_time() - begun
print(json.dumps(out))
