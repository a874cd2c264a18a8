//go:build placeholder

package main
import (
 _ "github.com/apache/arrow-go/v18/parquet/pqarrow"
 _ "github.com/duckdb/duckdb-go/v2"
 _ "github.com/alecthomas/kong"
 _ "github.com/BurntSushi/toml"
 _ "github.com/xuri/excelize/v2"
 _ "gonum.org/v1/gonum/stat/distuv"
 _ "gonum.org/v1/gonum/optimize"
 _ "gonum.org/v1/gonum/mat"
 _ "golang.org/x/image/font/gofont/goregular"
 _ "golang.org/x/image/font/opentype"
 _ "golang.org/x/sync/errgroup"
 _ "github.com/rogpeppe/go-internal/testscript"
 _ "pgregory.net/rapid"
 _ "github.com/chromedp/chromedp"
 _ "github.com/xitongsys/parquet-go/reader"
 _ "github.com/schollz/progressbar/v3"
 _ "golang.org/x/sys/unix"
)
func main(){}
