# Read by app/run and tests/run, which set `root` (the project) and `me` (their name).
# Everything said here goes to stderr: what the program prints stays clean.

: "${root:?}" "${me:?}"
venv=$root/.venv
stamp=$venv/installed-from
unfinished=$venv/install-unfinished

say() {
    printf '%s\n' "$me: $*" >&2
}

give_up() {
    say "$*"
    exit 4
}

# Sets base_python to a Python of version 3.11 or later.
find_python() {
    for base_python in python3 python3.13 python3.12 python3.11; do
        if "$base_python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            return 0
        fi
    done
    if command -v python3 >/dev/null; then
        give_up "$(python3 --version 2>&1) is too old; install Python 3.11 or later, then start again."
    fi
    give_up "there is no Python; install it as root with 'apt-get install -y python3 python3-venv', then start again."
}

# Prints the Debian packages missing for the given groups of app/system_packages.
missing_packages() {
    "$base_python" - "$root/app/system_packages" "$@" <<'PYTHON'
import ctypes
import glob
import shutil
import sys


def present(name):
    if name.startswith("/"):
        return bool(glob.glob(name))
    if ".so" not in name:
        return shutil.which(name) is not None
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


table, *groups = sys.argv[1:]
with open(table, encoding="utf-8") as lines:
    rows = [line.split() for line in lines if line.strip() and not line.startswith("#")]
print(*(package for group, name, package in rows if group in groups and not present(name)))
PYTHON
}

# Makes sure that the given groups of app/system_packages are there.
need_packages() {
    missing=$(missing_packages "$@")
    if [ -z "$missing" ]; then
        return 0
    fi
    install="apt-get install -y --no-install-recommends $missing"
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
        say "system packages are missing; run this line as root, then start again:"
        printf '%s\n' "apt-get update && $install" >&2
        exit 4
    fi
    say "installing system packages: $missing"
    export DEBIAN_FRONTEND=noninteractive
    # The list of packages may be missing or old: then fetch it and try once more.
    if ! $install >&2; then
        apt-get update >&2 || give_up "apt-get update failed; see the lines above, then start again."
        $install >&2 || give_up "apt-get could not install $missing; see the lines above, then start again."
    fi
    missing=$(missing_packages "$@")
    if [ -n "$missing" ]; then
        give_up "apt-get installed them, yet these are still not found: $missing; run 'ldconfig' as root, then start again."
    fi
}

# What the environment must have been made from to be used as it is.
wanted_stamp() {
    cat "$root/requirements.lock" "$root/pyproject.toml" | sha256sum
    printf '%s\n' "$root"
    "$venv/bin/python" -c 'import sys; print(sys.version)' 2>/dev/null || echo "no python"
}

environment_ready() {
    [ ! -e "$unfinished" ] && [ -e "$stamp" ] && [ "$(wanted_stamp)" = "$(cat "$stamp")" ]
}

# Makes .venv from the lock. A later start with the same lock only compares the stamp.
prepare_environment() {
    if environment_ready; then
        return 0
    fi
    # Two starts at once: the second waits, and then finds the work done.
    exec 9<"$root/requirements.lock"
    if command -v flock >/dev/null; then
        flock 9
    fi
    if ! environment_ready; then
        install_environment
    fi
    exec 9<&-
}

moved() {
    [ -e "$stamp" ] && ! grep -qxF "$root" "$stamp"
}

install_environment() {
    for folder in "$root" "$venv"; do
        if [ -e "$folder" ] && [ ! -w "$folder" ]; then
            give_up "$folder cannot be written to by this user; copy the project to a folder of your own, then start again."
        fi
    done
    # Packages of an interrupted install look complete to pip, and the programs in a folder that
    # was moved still name the old place: nothing of either is kept.
    if [ -e "$unfinished" ] || moved || ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
        make_venv
    fi
    say "installing the packages of requirements.lock into .venv; this is done once and may take some minutes"
    : >"$unfinished"
    rm -f "$stamp"
    venv_pip install --require-hashes --only-binary :all: -r "$root/requirements.lock" ||
        give_up "the packages could not be installed; see the lines above, check the network and the space on the disk, then start again."
    venv_pip install --no-deps --no-build-isolation --no-index -e "$root" ||
        give_up "the project itself could not be installed into .venv; see the lines above."
    wanted_stamp >"$stamp"
    rm -f "$unfinished"
}

make_venv() {
    "$base_python" -c 'import ensurepip, venv' 2>/dev/null ||
        give_up "Python's venv module is missing; install it as root with 'apt-get install -y python3-venv', then start again."
    rm -rf "$venv"
    mkdir "$venv"
    : >"$unfinished"
    "$base_python" -m venv "$venv" >&2 ||
        give_up "python -m venv failed; see the lines above, then start again."
}

# Shows its progress on a terminal and keeps quiet elsewhere.
venv_pip() {
    if [ -t 2 ]; then
        PIP_USER=0 "$venv/bin/python" -m pip --disable-pip-version-check --no-input "$@" >&2
    else
        PIP_USER=0 "$venv/bin/python" -m pip --disable-pip-version-check --no-input --quiet "$@" >&2
    fi
}
