#!/usr/bin/env bash
# The demo ends with 0, twice, and says the three verdicts.
set -euo pipefail
cd "$(dirname "$(readlink -f "$0")")/../.."

for attempt in first second; do
  said=$(rig/demo 2>&1) || { echo "$said"; echo "the $attempt demo"; echo "0 passed, 1 failed"; exit 1; }
done
for wanted in "PASS   unit T00101" "FAIL   unit T00102" "FAIL   unit T00103" "build/demo/T00102.html"; do
  grep -qF "$wanted" <<<"$said" || { echo "$said"; echo "the demo does not say: $wanted"; echo "0 passed, 1 failed"; exit 1; }
done
echo "2 passed, 0 failed"
