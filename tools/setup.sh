#!/bin/sh
# Prepares a machine: system packages where apt-get is there, then .venv with Klangprobe in it.
#   tools/setup.sh demo     what listening needs: Python, libfluidsynth, a free soundfont
#   tools/setup.sh test     the same, with a browser and the test tools
set -eu
want=${1:-demo}
here=$(cd "$(dirname "$0")/.." && pwd)
cd "$here"

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; elif command -v sudo >/dev/null; then sudo "$@"; else return 1; fi
}

have_shared() { /sbin/ldconfig -p 2>/dev/null | grep -q "$1"; }
have_python() { python3 -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

missing=
have_python || missing="$missing python3 python3-venv"
have_shared "libfluidsynth.so.[23]" || missing="$missing libfluidsynth3"
[ -f /usr/share/sounds/sf2/FluidR3_GM.sf2 ] || missing="$missing fluid-soundfont-gm"
if [ "$want" = test ]; then
    command -v chromium >/dev/null || missing="$missing chromium"
    command -v fluidsynth >/dev/null || missing="$missing fluidsynth"
    have_shared libatomic.so.1 || missing="$missing libatomic1"  # what drives the browser needs it
    [ -d /usr/share/fonts/truetype/dejavu ] || missing="$missing fonts-dejavu-core"
fi

if [ -n "$missing" ]; then
    if command -v apt-get >/dev/null; then
        echo "Installing system packages:$missing"
        as_root apt-get update -qq || echo "The package lists could not be renewed; trying what is known." >&2
        for package in $missing; do  # one by one: a package that this system has not must not keep the others away
            as_root env DEBIAN_FRONTEND=noninteractive \
                apt-get install -y -qq --no-install-recommends "$package" >/dev/null ||
                echo "$package could not be installed. Going on without it." >&2
        done
    else
        echo "Please install, in your system's way:$missing. Going on with what is here." >&2
    fi
fi
have_python || { echo "Klangprobe needs Python 3.11 or newer with venv; this machine has $(python3 --version 2>&1)." >&2; exit 3; }

extra=
[ "$want" = test ] && extra='[dev]'
stamp=.venv/.ready-$want
if [ ! -f "$stamp" ] || [ pyproject.toml -nt "$stamp" ]; then
    echo "Making .venv"
    [ -x .venv/bin/python ] || python3 -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check -e ".$extra"
    touch "$stamp"
fi
