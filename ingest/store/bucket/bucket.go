// Package bucket is a place for stores in an object store that speaks the S3 protocol.
//
// In: parts and manifests of a store. Out: the same as objects, parts before the manifest that lists them, each manifest
// under a number that only one writer gets. It never deletes a manifest, whose name is what holds off a late writer, and
// never shows or keeps a secret: those come from the environment.
package bucket

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path"
	"strings"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"

	"scanledger/ingest/store"
)

// What servers answer with (RFC 9110 section 15.5).
const (
	forbidden = 403
	notFound  = 404
	conflict  = 409
	unmet     = 412 // the condition of a request
)

// Bucket is a store.Place below a prefix of a bucket.
type Bucket struct {
	client *minio.Client
	bucket string
	prefix string // without slashes at its ends; may be empty
}

// Open makes a place of an address such as s3://bucket/prefix?endpoint=http://127.0.0.1:7070&region=us-east-1. The endpoint
// is needed, https where it names no scheme; a prefix and a region are not. The key comes from the environment
// (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_SESSION_TOKEN), never from the address. Nothing is sent yet.
func Open(address string) (*Bucket, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "s3" || u.Host == "" {
		return nil, errors.New("open bucket: give the place as s3://BUCKET/PREFIX?endpoint=HOST")
	}
	if u.User != nil {
		return nil, fmt.Errorf("open bucket %s: the address holds a key; give it in AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY instead", u.Host)
	}
	for name := range u.Query() {
		if name != "endpoint" && name != "region" {
			return nil, fmt.Errorf("open bucket %s: there is no setting %q; there are endpoint and region", u.Host, name)
		}
	}
	secure, host := true, u.Query().Get("endpoint")
	if rest, plain := strings.CutPrefix(host, "http://"); plain {
		secure, host = false, rest
	}
	host = strings.TrimPrefix(host, "https://")
	if host == "" {
		return nil, fmt.Errorf("open bucket %s: name its server, as s3://%s?endpoint=HOST", u.Host, u.Host)
	}
	client, err := minio.New(host, &minio.Options{Creds: credentials.NewEnvAWS(), Secure: secure, Region: u.Query().Get("region"), BucketLookup: minio.BucketLookupAuto})
	if err != nil {
		return nil, fmt.Errorf("open bucket %s: %w", u.Host, err)
	}
	return &Bucket{client: client, bucket: u.Host, prefix: strings.Trim(u.Path, "/")}, nil
}

// Name is the bucket, its server and the prefix, as s3://bucket/prefix at host.
func (b *Bucket) Name() string {
	return "s3://" + path.Join(b.bucket, b.prefix) + " at " + b.client.EndpointURL().Host
}

func (b *Bucket) key(name string) string { return path.Join(b.prefix, name) }

// Newest lists the manifests after the given one.
func (b *Bucket) Newest(ctx context.Context, after int) (number int, manifest []byte, err error) {
	options := minio.ListObjectsOptions{Prefix: b.key(store.ManifestPrefix) + "/"}
	if after > 0 {
		options.StartAfter = b.key(store.ManifestKey(after))
	}
	for object := range b.client.ListObjects(ctx, b.bucket, options) {
		if object.Err != nil {
			return 0, nil, plain(object.Err)
		}
		if n, ok := store.ManifestNumber(store.ManifestPrefix + path.Base(object.Key)); ok && n > after {
			number = max(number, n)
		}
	}
	if number == 0 {
		return 0, nil, ctx.Err()
	}
	object, err := b.client.GetObject(ctx, b.bucket, b.key(store.ManifestKey(number)), minio.GetObjectOptions{})
	if err != nil {
		return 0, nil, plain(err)
	}
	manifest, err = io.ReadAll(object)
	return number, manifest, errors.Join(plain(err), object.Close())
}

// Put uploads a part, unless it is there: its key has its checksum.
func (b *Bucket) Put(ctx context.Context, p store.Part, path string) error {
	there, err := b.client.StatObject(ctx, b.bucket, b.key(p.Key()), minio.StatObjectOptions{})
	if err == nil && there.Size == p.Bytes {
		return nil
	}
	if err != nil && minio.ToErrorResponse(err).StatusCode != notFound {
		return plain(err)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	_, err = b.client.PutObject(ctx, b.bucket, b.key(p.Key()), f, p.Bytes, minio.PutObjectOptions{ContentType: "application/octet-stream"})
	return errors.Join(plain(err), f.Close())
}

// Publish puts a manifest on the condition that there is no object of its name (If-None-Match, RFC 9110 section 13.1.2), which
// the server judges: 412 says that another writer has the number, 409 that one is just getting it.
func (b *Bucket) Publish(ctx context.Context, number int, manifest []byte) error {
	options := minio.PutObjectOptions{ContentType: "application/json", DisableMultipart: true}
	options.SetMatchETagExcept("*")
	_, err := b.client.PutObject(ctx, b.bucket, b.key(store.ManifestKey(number)), bytes.NewReader(manifest), int64(len(manifest)), options)
	if code := minio.ToErrorResponse(err).StatusCode; code == unmet || code == conflict {
		return store.ErrOvertaken
	}
	return plain(err)
}

// Fetch downloads a part.
func (b *Bucket) Fetch(ctx context.Context, p store.Part, path string) error {
	return plain(b.client.FGetObject(ctx, b.bucket, b.key(p.Key()), path, minio.GetObjectOptions{}))
}

// Drop removes a part; one that is not there is no error.
func (b *Bucket) Drop(ctx context.Context, p store.Part) error {
	return plain(b.client.RemoveObject(ctx, b.bucket, b.key(p.Key()), minio.RemoveObjectOptions{}))
}

// plain says what an error of the server is in words; the library's own are often empty.
func plain(err error) error {
	if err == nil {
		return nil
	}
	said := minio.ToErrorResponse(err)
	switch said.StatusCode {
	case forbidden:
		return errors.New("the server refuses the key; look at AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY and what they may do there")
	case notFound:
		return fmt.Errorf("the server has no %s", path.Join(said.BucketName, said.Key))
	}
	return err
}
