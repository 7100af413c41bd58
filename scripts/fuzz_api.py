#!/usr/bin/env python3
"""Sends what the OpenAPI document allows, and what it does not, to every operation of a demo bench (schemathesis). It ends with 1
where the bench answers with 5xx, or with what the document does not say.

    python3 -m venv /tmp/fuzz && /tmp/fuzz/bin/pip install schemathesis
    /tmp/fuzz/bin/python scripts/fuzz_api.py target/release/wattmend [examples for each operation]
"""

import os
import subprocess
import sys

from bench_at import demo

program = sys.argv[1]
examples = sys.argv[2] if len(sys.argv) > 2 else "60"
tool = os.path.join(os.path.dirname(sys.executable), "schemathesis")
with demo(program) as at:
    done = subprocess.run(
        [
            tool, "run", f"{at}/api/openapi.json", "--url", at, "--max-examples", examples, "--seed", "1",
            # What is refused is refused by what it means, not by its form alone, so that valid forms may be refused too.
            "--checks", "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance,"
            "unsupported_method",
            # These stream until the listener leaves.
            "--exclude-path-regex", "/live$",
            "--suppress-health-check", "all",
        ],
        check=False,
    )
sys.exit(done.returncode)
