# Sourced by demo/run and tests/run; POSIX sh, and not for Windows (see environment.py).
# Sets `python` to the first Python 3.11 or newer that can make an environment,
# or ends the script with one line that says what is missing. PYTHON=… overrides.

unset PYTHONPATH PYTHONHOME

find_python() {
    fits='import sys; sys.exit(sys.version_info < (3, 11))'
    too_old= no_venv=
    if [ -n "${PYTHON:-}" ]; then
        set -- "$1" "$PYTHON"
    else
        set -- "$1" python3.13 python3.12 python3.11 python3 python
    fi
    caller=$1
    shift
    for python in "$@"; do
        "$python" -c '' >/dev/null 2>&1 || continue
        if ! "$python" -c "$fits" >/dev/null 2>&1; then
            too_old=$("$python" -c 'import sys; print(sys.version.split()[0])' 2>/dev/null)
        elif ! "$python" -c 'import venv, ensurepip' >/dev/null 2>&1; then
            no_venv=$python
        else
            return 0
        fi
    done
    if [ -n "$no_venv" ]; then
        echo "$caller: $no_venv has no venv module; install it (Debian: apt-get install python3-venv)" >&2
    elif [ -n "$too_old" ]; then
        echo "$caller: needs Python 3.11 or newer; found $too_old" >&2
    elif [ -n "${PYTHON:-}" ]; then
        echo "$caller: PYTHON=$PYTHON cannot be run; it should name a Python 3.11 or newer" >&2
    else
        echo "$caller: needs Python 3.11 or newer; found none" >&2
    fi
    return 4
}

find_python "${set_up_for:-set-up}" || exit 4
