#!/usr/bin/env bash
# Installs the programs that pip cannot: ExifTool to run; a browser, exiv2, Tesseract, Poppler and a PDF/A validator to test.
set -u
case "$1" in
  run) programs="exiftool"; packages="libimage-exiftool-perl" ;;
  dev) programs="exiftool exiv2 chromium chromedriver tesseract pdftoppm"
       packages="libimage-exiftool-perl exiv2 chromium chromium-driver tesseract-ocr poppler-utils default-jre-headless libpdfbox2-java
                 libactivation-java libjaxb-api-java" ;;
esac
look() {
  missing=""
  for program in $programs; do command -v "$program" >/dev/null 2>&1 || missing="$missing $program"; done
  [ "$1" = run ] || [ -e /usr/share/java/preflight.jar ] || missing="$missing libpdfbox2-java"
}
look "$1"
[ -z "$missing" ] && exit 0
if command -v apt-get >/dev/null 2>&1; then
  if [ "$(id -u)" -eq 0 ]; then as=""; elif sudo -n true 2>/dev/null; then as="sudo"; else as="no"; fi
  if [ "$as" != "no" ]; then
    $as apt-get update -qq >/dev/null 2>&1
    # shellcheck disable=SC2086
    DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq $packages >/dev/null 2>&1
    look "$1"
    [ -z "$missing" ] && exit 0
  fi
fi
if [ "$1" = dev ] && command -v exiftool >/dev/null 2>&1; then
  echo "Some tests will be skipped, since these programs are missing:$missing. On Debian: sudo apt install" $packages >&2
  exit 0
fi
echo "ExifTool is missing. Type, on Debian or Ubuntu: sudo apt install libimage-exiftool-perl - on Fedora: sudo dnf install perl-Image-ExifTool - on macOS: brew install exiftool - on Windows: winget install -e --id OliverBetz.ExifTool" >&2
exit 1
