#!/usr/bin/env bash
# Readings of drawn stills to fit the weights of reference and lens marks to, one file for both fit.py:
#
#     tests/reference/readings.sh > readings.jsonl
#
# Half of the stills have marks of any form, half those that are usual. The seeds are used for nothing else.
set -euo pipefail
cd "$(dirname "$0")/../.."

bench() { cargo bench --quiet --bench readings -- "$@"; }

ROUNDS=${ROUNDS:-17}
for round in $(seq 1 "$ROUNDS"); do
    seed=$((72000 + round * 100))
    bench both $((seed)) 50 hard any
    bench both $((seed + 1)) 60 mixed any
    bench both $((seed + 2)) 45 hard
    bench both $((seed + 3)) 30 mixed
    bench both $((seed + 4)) 8 easy
    bench reference-only $((seed + 5)) 18 mixed any
    bench reference-only $((seed + 6)) 10 hard any
    bench reference-only $((seed + 7)) 16 mixed
    bench reference-only $((seed + 8)) 14 hard
    bench lens-only $((seed + 10)) 16 mixed any
    bench lens-only $((seed + 11)) 8 hard any
    bench lens-only $((seed + 12)) 18 mixed
    bench lens-only $((seed + 13)) 12 hard
    bench none $((seed + 14)) 8 hard
done
