# Sourced by ./start and ./check: installs what is missing, and says so in plain sentences.
# POSIX sh; Debian or Ubuntu.

say() { printf '%s\n' "$*"; }
fail() { printf 'hitchcall: %s\n' "$*" >&2; exit 3; }

# Install those of the named Debian packages that are missing.
need_packages() {
    missing=""
    for name in "$@"; do
        case "$(dpkg-query -W -f='${Status}' "$name" 2>/dev/null)" in
            *"install ok installed"*) ;;
            *) missing="$missing $name" ;;
        esac
    done
    [ -n "$missing" ] || return 0
    command -v apt-get >/dev/null 2>&1 || fail "this is no Debian or Ubuntu; install these by hand:$missing"
    root=""
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null 2>&1 || fail "these packages are missing and there is no sudo; ask for:$missing"
        root="sudo"
    fi
    say "Installing:$missing"
    # shellcheck disable=SC2086
    $root apt-get update -q >/dev/null || fail "the package lists cannot be fetched; check the network"
    # shellcheck disable=SC2086
    $root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing >/dev/null \
        || fail "apt-get could not install:$missing"
}

# Find a Python that is new enough.
find_python() {
    for name in python3 python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s' "$name"
            return 0
        fi
    done
    return 1
}

# Make .venv and install Hitchcall into it, with the extras named, at the pinned versions; $2 says how large that is.
need_hitchcall() {
    extras=$1
    size=$2
    python=$(find_python) || fail "Python 3.11 or newer is needed; install it and come back"
    "$python" -c 'import venv, ensurepip' 2>/dev/null || need_packages python3-venv
    wanted="$extras $(cksum pyproject.toml constraints.txt | tr '\n' ' ')"
    if [ -x .venv/bin/python ] && [ "$(cat .venv/installed 2>/dev/null)" = "$wanted" ]; then
        return 0
    fi
    say "Installing Hitchcall into .venv (about $size the first time) ..."
    [ -x .venv/bin/python ] || "$python" -m venv .venv || fail "no virtual environment could be made in .venv"
    .venv/bin/python -m pip install -q --disable-pip-version-check -c constraints.txt -e ".$extras" \
        || fail "pip could not install Hitchcall; check the network and try again"
    printf '%s' "$wanted" >.venv/installed
}
