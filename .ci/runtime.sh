#!/usr/bin/env bash
# Puts the Python for browsers into a folder, with the ordinary clients and by package names; leaves no folder if it cannot.
# usage: runtime.sh FOLDER
set -uo pipefail
folder=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
core=0.29.0
(
    set -e
    cd "$work"
    npm pack --silent "pyodide@$core" >/dev/null
    tar -xzf "pyodide-$core.tgz"
    # numpy for WebAssembly stands on no index by itself; this package has it in its files, the one that the lock file names
    python3 -m pip download --quiet --no-deps --dest . gbdraw==0.14.2
    python3 - <<'PY'
import glob, zipfile
with zipfile.ZipFile(glob.glob("gbdraw-*.whl")[0]) as archive:
    for name in archive.namelist():
        if "/numpy-" in name and name.endswith("wasm32.whl"):
            open("package/" + name.rsplit("/", 1)[1], "wb").write(archive.read(name))
PY
    cd package
    mkdir -p "$folder"
    cp package.json pyodide-lock.json pyodide.js pyodide.asm.js pyodide.asm.wasm python_stdlib.zip numpy-*.whl "$folder"
) || { echo "no Python for browsers could be had: what needs it is skipped"; rm -rf "$folder"; exit 0; }
