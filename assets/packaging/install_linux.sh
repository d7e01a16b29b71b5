#!/bin/sh
# Puts a bundle into the user's menu, with its icon and the file type .lagline. No administrator needed.
#   sh assets/packaging/install_linux.sh FOLDER/lagline      (the folder stays where it is)
set -eu
bundle=$(cd "$1" && pwd)
here=$(cd "$(dirname "$0")" && pwd)
share=${XDG_DATA_HOME:-$HOME/.local/share}
mkdir -p "$share/applications" "$share/mime/packages" "$HOME/.local/bin"
sed "s|^Exec=lagline|Exec=\"$bundle/lagline\"|" "$here/lagline.desktop" > "$share/applications/lagline.desktop"
cp "$here/lagline-mime.xml" "$share/mime/packages/lagline.xml"
for size in 16 24 32 48 64 128 256 512; do
    mkdir -p "$share/icons/hicolor/${size}x$size/apps"
    cp "$here/../icon/lagline-$size.png" "$share/icons/hicolor/${size}x$size/apps/lagline.png"
done
ln -sf "$bundle/lagline" "$HOME/.local/bin/lagline"
# Both belong to the desktop; where they are missing there is no menu to tell.
if command -v update-mime-database > /dev/null; then update-mime-database "$share/mime"; fi
if command -v update-desktop-database > /dev/null; then update-desktop-database "$share/applications"; fi
echo "Lagline is in the menu, and lagline in $HOME/.local/bin."
