#!/bin/sh
# Makes the certificates of the tests: an authority, and a broker at 127.0.0.1. Good from 2020 for a hundred years; worth nothing outside.
set -e
cd "$(dirname "$0")"
made=$(mktemp -d)
new="-newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes"
openssl req -new $new -keyout "$made/ca.key" -out "$made/ca.csr" -subj "/CN=Authority of the tests"
openssl req -new $new -keyout broker.key -out "$made/broker.csr" -subj "/CN=Broker of the tests"
touch "$made/index"
cat > "$made/conf" <<END
[ca]
default_ca = tests
[tests]
database = $made/index
new_certs_dir = $made
rand_serial = yes
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
[authority]
basicConstraints = critical,CA:TRUE
keyUsage = critical,keyCertSign,cRLSign
subjectKeyIdentifier = hash
[broker]
basicConstraints = critical,CA:FALSE
keyUsage = critical,digitalSignature
extendedKeyUsage = serverAuth
subjectAltName = IP:127.0.0.1,DNS:localhost
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
END
sign="openssl ca -batch -notext -config $made/conf -startdate 20200101000000Z -enddate 21191231000000Z -keyfile $made/ca.key"
$sign -selfsign -extensions authority -in "$made/ca.csr" -out ca.crt
$sign -cert ca.crt -extensions broker -in "$made/broker.csr" -out broker.crt
rm -r "$made"
