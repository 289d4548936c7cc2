#!/usr/bin/env bash
# One command for developers and CI: format, lint, strict types, import contracts, file sizes, tests.
# `--long` runs the long forms of the tests instead of the quick ones; other words go to pytest.
set -euo pipefail
cd "$(dirname "$0")/.."
bin=$(dirname "$(command -v "${PYTHON:-.venv/bin/python}")")
# Threads of the linear algebra library cost more than they bring on matrices as small as ours.
export OPENBLAS_NUM_THREADS=1
marker="not long"
if [ "${1:-}" = "--long" ]; then marker="long"; shift; fi
"$bin/ruff" format --check .
"$bin/ruff" check .
"$bin/lint-imports"
"$bin/python" .ci/file_sizes.py
# Types beside the tests, which leave the processor waiting now and then.
types=$(mktemp)
trap 'rm -f "$types"' EXIT
"$bin/mypy" >"$types" 2>&1 &
checked=$!
passed=0
"$bin/python" -m pytest -n auto -m "$marker" "$@" || passed=$?
wait "$checked" && cat "$types" || { cat "$types"; exit 1; }
exit "$passed"
