#!/bin/sh
# The system's packages that Lagline stands on, for Debian and Ubuntu. README's lines call it.
#   sh assets/packaging/linux_packages.sh          to run Lagline
#   sh assets/packaging/linux_packages.sh test     to run its tests as well
set -eu
packages="python3 python3-venv libportaudio2
    libegl1 libgl1 libglib2.0-0 libdbus-1-3 fontconfig fonts-dejavu-core
    libxkbcommon-x11-0 libxcb-cursor0 libxcb-icccm4 libxcb-image0 libxcb-keysyms1 libxcb-randr0
    libxcb-render-util0 libxcb-shape0 libxcb-xinerama0 libwayland-cursor0 libwayland-egl1"
# What the tests ask for a second opinion: sound files, papers, menu entries.
[ "${1:-}" = test ] && packages="$packages sox flac poppler-utils desktop-file-utils"
as_root=""
[ "$(id -u)" = 0 ] || as_root=sudo
$as_root apt-get update
# The list is split into its words on purpose.
# shellcheck disable=SC2086
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $packages
