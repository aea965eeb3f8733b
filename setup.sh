#!/bin/sh
# Sets up everything from nothing: system packages (Debian, Ubuntu), a virtual environment, pinned packages.
# Usage: sh setup.sh [dev]   'dev' adds what the tests need. Running it again costs nothing.
set -eu
cd "$(dirname "$0")"
# the live page is light (a few MB) and the author's door: it is always there
extras="[live${1:+,$1}]"

say() { printf '%s\n' "$*"; }
stop() { say "aimgeo: $*" >&2; exit 1; }

any() { for file in "$@"; do if [ -e "$file" ]; then return 0; fi; done; return 1; }

if [ ! -L .venv ] && grep -q '^command = ' .venv/pyvenv.cfg 2>/dev/null && ! grep -qF "$(pwd -P)/.venv" .venv/pyvenv.cfg; then
    say "This folder was moved or copied, and its programs name the old place: the environment is made anew."
    rm -rf .venv
fi

stamp=.venv/.ready-$(cat pyproject.toml constraints.txt setup.sh | cksum | cut -d' ' -f1)
if [ -e "$stamp-$extras" ] || [ -e "$stamp-[live,dev]" ]; then exit 0; fi

find_python() {
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return
        fi
    done
}

# What pycairo and ManimPango build from, and what the player's-eye view draws with.
missing=
command -v cc >/dev/null 2>&1 || missing="$missing build-essential"
command -v pkg-config >/dev/null 2>&1 || missing="$missing pkg-config"
pkg-config --exists cairo 2>/dev/null || missing="$missing libcairo2-dev"
pkg-config --exists pangocairo 2>/dev/null || missing="$missing libpango1.0-dev"
python=$(find_python)
if [ -z "$python" ]; then
    missing="$missing python3 python3-venv python3-dev"
else
    "$python" -c 'import ensurepip, venv' 2>/dev/null || missing="$missing python3-venv"
    "$python" -c 'import os, sysconfig, sys
sys.exit(not os.path.exists(os.path.join(sysconfig.get_paths()["include"], "Python.h")))' || missing="$missing python3-dev"
fi
if [ "$(uname)" = Linux ]; then
    any /usr/lib/*/libEGL.so.1 /usr/lib/libEGL.so.1 /usr/lib64/libEGL.so.1 || missing="$missing libegl1"
    any /usr/lib/*/dri/swrast_dri.so /usr/lib/dri/swrast_dri.so /usr/lib64/dri/swrast_dri.so \
        /usr/lib/*/libgallium*.so /usr/lib64/libgallium*.so || missing="$missing libgl1-mesa-dri"
fi

if [ -n "$missing" ]; then
    if command -v apt-get >/dev/null 2>&1; then
        root=
        if [ "$(id -u)" != 0 ]; then
            command -v sudo >/dev/null 2>&1 || stop "these system packages are missing, and there is no sudo to install them with. As root: apt-get install$missing"
            root=sudo
        fi
        say "Installing system packages:$missing"
        $root apt-get update -qq
        # shellcheck disable=SC2086
        DEBIAN_FRONTEND=noninteractive $root apt-get install -y -qq --no-install-recommends $missing >/dev/null
    else
        stop "these are missing (Debian's names):$missing. Install them with your system's package manager, then run this again; README.md has the commands for macOS and Windows."
    fi
    python=$(find_python)
fi
[ -n "$python" ] || stop "Python 3.11 or newer is needed, and none was found. Install it, then run this again."

say "Setting up .venv with $("$python" --version) (once; under a minute)"
halfway=.venv/.halfway
if [ -e "$halfway" ]; then
    # a package that is half written stops the installer for good
    say "An earlier set-up was stopped halfway: it begins anew."
    "$python" -m venv --clear .venv
fi
[ -x .venv/bin/python ] || "$python" -m venv .venv
rm -f .venv/.ready-*
: >"$halfway"
.venv/bin/python -m pip install -q --disable-pip-version-check -c constraints.txt -e ".$extras" || {
    rm -f "$halfway"
    stop "the packages could not be installed; the lines above say why. Mend that, then run this again."
}
rm -f "$halfway"
: >"$stamp-$extras"
