package bucket_test

import (
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"scanledger/ingest"
	"scanledger/ingest/store"
	"scanledger/ingest/store/bucket"
)

const key, secret = "fleetkey", "unspeakable-secret"

// server starts an S3-compatible server over a folder and returns the address of an empty bucket. It is a real one, versitygw,
// which the fleet script builds; without it the test is left out, unless SCANLEDGER_FLEET asks for it.
func server(t *testing.T) string {
	t.Helper()
	cache := os.Getenv("XDG_CACHE_HOME")
	if cache == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			t.Fatal(err)
		}
		cache = filepath.Join(home, ".cache")
	}
	program := filepath.Join(cache, "scanledger-fleet", "bin", "versitygw")
	if _, err := os.Stat(program); err != nil {
		if os.Getenv("SCANLEDGER_FLEET") == "1" {
			t.Fatalf("no object store: %v; run .ci/fleet install", err)
		}
		t.Skip("no object store on this machine; .ci/fleet install gets one")
	}
	t.Setenv("AWS_ACCESS_KEY_ID", key)
	t.Setenv("AWS_SECRET_ACCESS_KEY", secret)
	t.Setenv("AWS_SESSION_TOKEN", "")
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := free.Addr().String()
	if err := free.Close(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "ledger"), 0o700); err != nil { // a folder at the top is a bucket
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--port", at, "--access", key, "--secret", secret, "--quiet", "posix", "--sidecar", t.TempDir(), dir)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // says that it was killed
	})
	for range 100 {
		if conn, err := net.Dial("tcp", at); err == nil {
			_ = conn.Close()
			return "s3://ledger/network?endpoint=http://" + at
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the object store did not come up")
	return ""
}

// places runs a test on both kinds of place.
func places(t *testing.T, test func(t *testing.T, place store.Place)) {
	t.Run("folder", func(t *testing.T) { test(t, store.Folder(filepath.Join(t.TempDir(), "shared"))) })
	t.Run("bucket", func(t *testing.T) {
		b, err := bucket.Open(server(t))
		if err != nil {
			t.Fatal(err)
		}
		test(t, b)
	})
}

func write(t *testing.T, text string) (path string, p store.Part) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "part")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	sum, size, err := ingest.HashFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return path, store.Part{Path: "data/readings/utc_month=2026-01/load-000001-001.parquet", SHA256: sum, Bytes: size}
}

func TestParts(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		ctx := context.Background()
		onePath, one := write(t, "one")
		otherPath, other := write(t, "another writer's file of the same name")
		for range 2 { // putting again is no error
			if err := errors.Join(place.Put(ctx, one, onePath), place.Put(ctx, other, otherPath)); err != nil {
				t.Fatal(err)
			}
		}
		to := filepath.Join(t.TempDir(), "fetched")
		if err := place.Fetch(ctx, one, to); err != nil {
			t.Fatal(err)
		}
		if text, err := os.ReadFile(to); err != nil || string(text) != "one" {
			t.Errorf("fetched %q (%v)", text, err)
		}
		for range 2 { // dropping again is no error
			if err := place.Drop(ctx, one); err != nil {
				t.Fatal(err)
			}
		}
		if err := place.Fetch(ctx, one, to); err == nil {
			t.Error("a dropped part was fetched")
		}
		if err := place.Fetch(ctx, other, to); err != nil {
			t.Errorf("another part of the same name went too: %v", err)
		}
	})
}

// TestOneWriter: of many who ask for a number at once, one gets it.
func TestOneWriter(t *testing.T) {
	places(t, func(t *testing.T, place store.Place) {
		ctx := context.Background()
		if number, _, err := place.Newest(ctx, 0); err != nil || number != 0 {
			t.Fatalf("an empty place holds publication %d (%v)", number, err)
		}
		for number := 1; number <= 3; number++ {
			var wg sync.WaitGroup
			results := make([]error, 16)
			for i := range results {
				wg.Go(func() { results[i] = place.Publish(ctx, number, []byte(strings.Repeat("x", i))) })
			}
			wg.Wait()
			winner := -1
			for i, err := range results {
				switch {
				case err == nil && winner >= 0:
					t.Fatalf("writers %d and %d both got number %d", winner, i, number)
				case err == nil:
					winner = i
				case !errors.Is(err, store.ErrOvertaken):
					t.Fatal(err)
				}
			}
			got, text, err := place.Newest(ctx, number-1)
			if err != nil || got != number || len(text) != winner {
				t.Fatalf("newest is %d with %d bytes (%v); writer %d got number %d", got, len(text), err, winner, number)
			}
		}
		if number, _, err := place.Newest(ctx, 3); err != nil || number != 0 {
			t.Errorf("publication %d after the third (%v)", number, err)
		}
	})
}

func TestAddresses(t *testing.T) {
	for address, want := range map[string]string{
		"ledger": "give the place as", "s3://": "give the place as", "http://ledger?endpoint=x": "give the place as",
		"s3://ledger/a": "name its server",
		"s3://" + secret + ":" + secret + "@ledger": "holds a key",
		"s3://ledger?endpoint=x&" + "colour=red":    `no setting "colour"`,
		"s3://%zz" + secret:                         "give the place as",
	} {
		_, err := bucket.Open(address)
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), secret) {
			t.Errorf("%s: %v", address, err)
		}
	}
	b, err := bucket.Open("s3://ledger/a/b/?endpoint=store.invalid:9000")
	if err != nil || b.Name() != "s3://ledger/a/b at store.invalid:9000" {
		t.Errorf("%v (%v)", b, err)
	}
}

// TestRefusedKey: what the server says of a wrong key is told in words, without the key.
func TestRefusedKey(t *testing.T) {
	address := server(t)
	t.Setenv("AWS_SECRET_ACCESS_KEY", "wrong-"+secret)
	b, err := bucket.Open(address)
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = b.Newest(context.Background(), 0)
	if err == nil || !strings.Contains(err.Error(), "refuses the key") || strings.Contains(err.Error(), secret) {
		t.Errorf("got %v", err)
	}
	if err := b.Publish(context.Background(), 1, nil); err == nil || errors.Is(err, store.ErrOvertaken) {
		t.Errorf("got %v", err)
	}
}
