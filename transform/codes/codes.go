// Package codes replaces the ids of people, places and records by codes that tell nothing.
//
// In: the held_ views, the fact views and the audit samples of one engine, and the business's secret key. Out:
// views of the same names in which technicians, sites, inspections, points, readings and findings have a
// code for an id, names are missing, free text and rejected values are withheld, and record files are named
// by number. Whatever comes after sees nothing else, so that no result and no page can show more. It
// never changes a store or a figure.
//
// A code is the start of HMAC-SHA256 (RFC 2104, FIPS 198-1) of kind and id under the key, written in
// letters: the same id has the same code for as long as the key is the same, and without the key nobody
// can try ids until one fits. Units, regions, materials and their labels stay as they are.
package codes

import (
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"fmt"
)

// A Kind is what an id is of; equal ids of two kinds have different codes.
type Kind string

// The kinds of id that have codes.
const (
	Technician Kind = "t"
	Site       Kind = "s"
	Inspection Kind = "i"
	Point      Kind = "p"
	Reading    Kind = "r"
	Finding    Kind = "f"
)

// MinKey is the fewest bytes of a key: shorter ones can be found by trying.
const MinKey = 16

// Length of a code in letters of four bits each: among a million ids of a kind, two share one of 64 bits with
// a chance of 1 in 37 million.
const length = 16

// alphabet has no vowels, so that no code is a word, and no digits, so that no code holds a number that is
// somebody's id.
const alphabet = "bcdfghjkmnpqrstw"

// Coder makes codes under one key.
type Coder struct{ key []byte }

// ErrKey says that there is no key, or too short a one.
var ErrKey = errors.New("codes need a key")

// New makes a coder. A key under MinKey bytes is an error that says what to do.
func New(key string) (Coder, error) {
	if len(key) < MinKey {
		return Coder{}, fmt.Errorf("%w: set privacy.key in the configuration to at least %d characters of your own, keep it secret, and name the file with --config; "+
			"the same key gives the same codes", ErrKey, MinKey)
	}
	return Coder{[]byte(key)}, nil
}

// Code is the code of an id.
func (c Coder) Code(kind Kind, id string) string {
	mac := hmac.New(sha256.New, c.key)
	mac.Write([]byte(string(kind) + "\x00" + id))
	out := []byte(kind + "-")
	for _, b := range mac.Sum(nil)[:length/2] {
		out = append(out, alphabet[b>>4], alphabet[b&15])
	}
	return string(out)
}

// pads are the two keys of the hash's passes (RFC 2104, section 2).
func (c Coder) pads() (inner, outer []byte) {
	key := c.key
	if len(key) > sha256.BlockSize {
		sum := sha256.Sum256(key)
		key = sum[:]
	}
	inner, outer = make([]byte, sha256.BlockSize), make([]byte, sha256.BlockSize)
	copy(inner, key)
	copy(outer, key)
	for i := range inner {
		inner[i] ^= 0x36
		outer[i] ^= 0x5c
	}
	return inner, outer
}
