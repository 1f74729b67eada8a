#!/bin/sh
# What the window needs to be built on Linux, beside Go and a C compiler: prints
# the packages that are missing, by their Debian names, and exits with 1 when there
# are any. With "install" it installs them first, as root; other users are told.
set -eu
[ "$(uname -s)" = Linux ] || exit 0

missing() {
	if ! command -v "${CC:-cc}" >/dev/null 2>&1; then
		echo gcc libc6-dev
	fi
	for pair in GL/gl.h:libgl-dev X11/Xlib.h:libx11-dev X11/extensions/Xrandr.h:libxrandr-dev \
		X11/extensions/xf86vmode.h:libxxf86vm-dev X11/extensions/XInput2.h:libxi-dev \
		X11/Xcursor/Xcursor.h:libxcursor-dev X11/extensions/Xinerama.h:libxinerama-dev; do
		printf '#if __has_include(<%s>)\n#else\n#error\n#endif\n' "${pair%:*}" |
			"${CC:-cc}" -E - >/dev/null 2>&1 || echo "${pair#*:}"
	done
}

list=$(missing | tr '\n' ' ')
[ -n "$list" ] || exit 0
if [ "${1:-}" = install ]; then
	if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null 2>&1; then
		echo "the window needs packages that only an administrator can install: $list" >&2
		exit 1
	fi
	apt-get update -q >&2
	# shellcheck disable=SC2086
	DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $list >&2
	list=$(missing | tr '\n' ' ')
	[ -n "$list" ] || exit 0
fi
echo "$list"
exit 1
