#!/bin/sh
# SPDX-License-Identifier: MIT
# make_certificate.sh FOLDER: a throw-away certificate authority (ca.pem), a certificate for localhost and 127.0.0.1
# that it has signed (server.pem, server.key), and an authority that has signed nothing (other-ca.pem). For tests only.
set -eu

folder=${1:?usage: make_certificate.sh FOLDER}
umask 077
mkdir -p "$folder"
cd "$folder"

authority() {
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj "/CN=$2" \
        -addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign \
        -keyout "$1.key" -out "$1.pem" 2>/dev/null
}

authority ca "Test authority"
authority other-ca "Other test authority"

openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj "/CN=localhost" \
    -keyout server.key -out server.csr 2>/dev/null
printf 'subjectAltName=DNS:localhost,IP:127.0.0.1\nextendedKeyUsage=serverAuth\n' > server.ext
openssl x509 -req -in server.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 30 -extfile server.ext \
    -out server.pem 2>/dev/null
rm -f server.csr server.ext ca.srl ca.key other-ca.key
