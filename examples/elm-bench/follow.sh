#!/bin/sh
# The steps of this example, one command each. Run it from this folder, with crackmap on the path.
set -eu
crackmap run slab.jpg --thickness 52mm --shop ../shop.toml --out job
echo "Look at job/annotated.png, then press return to go on with the maker's edits."
read -r _ || true
cp edits.json job/edits.json
crackmap place job
crackmap draw job --units in --paper letter
crackmap testcut --shop ../shop.toml --out testcut.dxf --overwrite
