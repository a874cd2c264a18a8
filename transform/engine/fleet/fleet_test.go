package fleet

import (
	"context"
	"encoding/pem"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// password has signs that are written otherwise in addresses.
const password = "sun/shade?&%+#\"'"

// TestPasswordIsNeverShown: not in any error, whatever goes wrong, even where the server says it back.
func TestPasswordIsNeverShown(t *testing.T) {
	echo := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, given, _ := r.BasicAuth()
		http.Error(w, "denied: "+given+" "+url.QueryEscape(given), http.StatusUnauthorized)
	}))
	defer echo.Close()
	trusted := strings.TrimPrefix(echo.URL, "https://")
	user := url.UserPassword("fleet", password).String()
	for _, c := range []struct{ name, dsn, want string }{
		{"no TLS", "http://" + user + "@" + trusted + "?catalog=c", "a password needs https"},
		{"a certificate nobody knows", "https://" + user + "@" + trusted + "?catalog=c", "certificate"},
		{"nobody there", "https://" + user + "@127.0.0.1:1?catalog=c", "refused"},
		{"no catalog", "https://" + user + "@" + trusted, "name the catalog"},
		{"no address", "https://" + user + "@/", "give its address"},
		{"another scheme", "trino://" + user + "@" + trusted + "?catalog=c", "give its address"},
		{"no URL", "https://fleet:" + password + "\x00@host", "give its address"},
		{"an unknown setting", "https://" + user + "@" + trusted + "?catalog=c&custom_client=" + url.QueryEscape(password), ""},
		{"a refusal that says it back", "https://" + user + "@" + trusted + "?catalog=c&SSLCert=" + url.QueryEscape(pemOf(echo)), "denied"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := Open(context.Background(), Options{DSN: c.dsn, Folder: t.TempDir(), Name: "s"})
			if err == nil {
				_ = f.Close()
				t.Fatal("it opened")
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %q, want %q in it", err, c.want)
			}
			for _, secret := range []string{password, url.QueryEscape(password), url.PathEscape(password), user} {
				if strings.Contains(err.Error(), secret) {
					t.Errorf("the password stands in %q", err)
				}
			}
		})
	}
}

func TestHiddenErrorsAreStillTheirKind(t *testing.T) {
	f := Fleet{secret: password}
	err := f.hide(errors.Join(ErrLost, errors.New(password)))
	if !errors.Is(err, ErrLost) || strings.Contains(err.Error(), password) {
		t.Errorf("got %v", err)
	}
}

func TestLocations(t *testing.T) {
	for _, c := range []struct{ location, path, want string }{
		{"local:///", "/shared/store/data", "local:///store/data"},
		{"local:///", "/shared", "local://"},
		{"s3://bucket/prefix/", "/shared/a b", "s3://bucket/prefix/a b"},
		{"local:///", "/sharedness", ""},
		{"local:///", "/shared/../etc", ""},
	} {
		f := Fleet{opt: Options{Folder: "/shared", Location: c.location}}
		got, err := f.location(c.path)
		if got != c.want || (err == nil) != (c.want != "") {
			t.Errorf("%s at %s is %q (%v), want %q", c.path, c.location, got, err, c.want)
		}
	}
}

func TestSpots(t *testing.T) {
	for path, want := range map[string]spot{
		"/f/visits/2026-01.parquet": {"saved_visits", "2026-01", "/f/visits"},
		"/f/visits/none.parquet":    {"saved_visits", "none", "/f/visits"},
		"/f/log_matches.parquet":    {"saved_log_matches", "all", "/f/log_matches"},
	} {
		if got := spotOf(path); got != want {
			t.Errorf("%s is %+v, want %+v", path, got, want)
		}
	}
}

func TestCommonFolder(t *testing.T) {
	for _, c := range []struct {
		want  string
		files []string
	}{
		{"/s/data/readings", []string{"/s/data/readings/utc_month=2026-01/a.parquet", "/s/data/readings/utc_month=2026-02/a.parquet"}},
		{"/s/fates", []string{"/s/fates/a.parquet"}},
		{"/s", []string{"/s/fates/a.parquet", "/s/fates-2/a.parquet"}},
	} {
		if got := common(c.files); got != c.want {
			t.Errorf("%v lie in %s, want %s", c.files, got, c.want)
		}
	}
}

// pemOf is the certificate of a server, for a client to trust.
func pemOf(s *httptest.Server) string {
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw}))
}
