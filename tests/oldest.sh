#!/bin/sh
# Installs aimgeo with the oldest versions that pyproject.toml declares into an environment of its own, and renders,
# delivers and audits with them. The tests' own tools are as new as they come.
# Usage: sh tests/oldest.sh [PYTHON]   (python3 by default)
set -eu
cd "$(dirname "$0")/.."
unset PYTHONPATH
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT INT TERM
"${1:-python3}" -m venv "$place"
"$place/bin/python" -m pip install -q --disable-pip-version-check uv
install() { VIRTUAL_ENV=$place "$place/bin/uv" pip install -q "$@"; }
# a copy: setuptools leaves a build folder beside the sources
mkdir "$place/source"
git archive HEAD | tar -x -C "$place/source"
cd "$place/source"
install --resolution lowest-direct .
"$place/bin/uv" pip freeze -p "$place" >"$place/oldest.txt"
install -c "$place/oldest.txt" pip setuptools wheel pytest hypothesis pypdf
grep -v ' @ ' "$place/oldest.txt" | tr '\n' ' '
echo
"$place/bin/python" -m pytest -q -p no:cacheprovider tests/lessons/test_render.py \
    tests/lessons/test_recordings.py tests/lessons/test_filmed.py tests/lessons/test_audit.py tests/lessons/deliver \
    --ignore=tests/lessons/deliver/test_review_page.py
