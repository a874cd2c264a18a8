package ingest

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/klauspost/compress/zstd"
)

// The Parquet library gives a codec a buffer of the size that a page is said to have; those of zstd and Snappy make a larger
// one where the packed bytes claim more, of up to 64 and 4 GiB, which ends the program where there is not so much memory.
// These are held to the buffer. They pack, and unpack streams, as those they stand for.
func init() {
	bound(compress.Codecs.Zstd, zstdWithin)
	bound(compress.Codecs.Snappy, func(codec compress.Codec) decoder {
		return func(dst, src []byte) ([]byte, error) {
			if size, n := binary.Uvarint(src); n <= 0 || size > uint64(len(dst)) {
				return nil, errPageSize
			}
			return compress.Decode(codec, dst, src)
		}
	})
}

var errPageSize = errors.New("a page unpacks to more than it is said to")

type decoder func(dst, src []byte) ([]byte, error)

// zstdWithin unpacks into the capacity of dst and no further.
func zstdWithin(compress.Codec) decoder {
	within, err := zstd.NewReader(nil, zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		panic(err) // only a wrong option fails
	}
	return func(dst, src []byte) ([]byte, error) {
		return within.DecodeAll(src, dst[:0:len(dst)])
	}
}

// boundCodec unpacks a page as decode does, and is the codec it stands for in all else.
type boundCodec struct {
	compress.Codec
	compress.StreamingCodec
	decode decoder
}

func bound(kind compress.Compression, by func(compress.Codec) decoder) {
	codec, err := compress.GetCodec(kind)
	streaming, ok := codec.(compress.StreamingCodec)
	if err != nil || !ok {
		panic(fmt.Sprintf("codec %s: %v", kind, err)) // the library has it
	}
	compress.RegisterCodec(kind, boundCodec{codec, streaming, by(codec)})
}

func (c boundCodec) DecodeWithError(dst, src []byte) ([]byte, error) { return c.decode(dst, src) }

func (c boundCodec) Decode(dst, src []byte) []byte {
	out, err := c.decode(dst, src)
	if err != nil {
		panic(err)
	}
	return out
}
