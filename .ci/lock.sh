#!/usr/bin/env bash
# Make the lock anew from a fresh environment: names and versions only, no address.
set -euo pipefail
cd "$(dirname "$0")/.."
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
python3 -m venv "$fresh"
"$fresh/bin/pip" install -q -e '.[test,dev]'
"$fresh/bin/pip" freeze --exclude-editable | grep -E '^[A-Za-z0-9._-]+==' > .ci/lock.txt
