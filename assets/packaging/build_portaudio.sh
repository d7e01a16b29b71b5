#!/bin/sh
# PortAudio for the Linux bundle, from Debian's source package, with ALSA as its only host.
#   sh assets/packaging/build_portaudio.sh FOLDER      writes FOLDER/libportaudio.so.2
# Debian's own binary also links the client library of a second sound server, which brings a database under terms
# that a bundle of MIT and LGPL parts cannot be passed on with. ALSA reaches every sound server that gives it a device.
# Needs: apt-get, dpkg-dev, gcc, make, libasound2-dev.
set -eu
out=$(mkdir -p "$1" && cd "$1" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
mkdir -p lists/partial
# The machine's own package sources, asked for source packages.
mkdir parts
for list in /etc/apt/sources.list /etc/apt/sources.list.d/*.list; do
    [ -f "$list" ] && sed -n 's/^deb /deb-src /p' "$list" > "parts/$(basename "$list" .list).list"
done
for list in /etc/apt/sources.list.d/*.sources; do
    [ -f "$list" ] && sed 's/^Types:.*/Types: deb-src/' "$list" > "parts/$(basename "$list")"
done
apt() {
    apt-get -qq -o Dir::Etc::SourceList=/dev/null -o Dir::Etc::SourceParts="$work/parts" \
        -o Dir::State::Lists="$work/lists" -o Dir::Cache::pkgcache= -o Dir::Cache::srcpkgcache= \
        -o APT::Sandbox::User=root "$@"
}
apt update
apt source portaudio19 > /dev/null
cd portaudio19-*
./configure --quiet --with-alsa --without-jack --without-oss --enable-shared --disable-static --without-cxx \
    CFLAGS="-O2 -fPIC -w"
make --silent lib/libportaudio.la > /dev/null
strip --strip-unneeded lib/.libs/libportaudio.so.2.0.0
cp lib/.libs/libportaudio.so.2.0.0 "$out/libportaudio.so.2"
cp LICENSE.txt "$out/portaudio-licence.txt"
for unwanted in jack db; do
    if ldd "$out/libportaudio.so.2" | grep -q "lib$unwanted"; then
        echo "build_portaudio.sh: the result still links lib$unwanted" >&2
        exit 1
    fi
done
echo "$out/libportaudio.so.2"
