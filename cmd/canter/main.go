// Command canter watches for heart-rate files, scores the submaximal fitness
// test inside each and tells staff what deserves a look.
package main

import (
	_ "github.com/ClickHouse/clickhouse-go/v2"
	_ "github.com/alecthomas/kong"
	_ "github.com/fsnotify/fsnotify"
	_ "github.com/goccy/go-yaml"
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/google/go-cmp/cmp/cmpopts"
	_ "github.com/klauspost/compress/zstd"
	_ "github.com/muktihari/fit/decoder"
	_ "github.com/muktihari/fit/encoder"
	_ "github.com/muktihari/fit/profile/filedef"
	_ "github.com/muktihari/fit/profile/mesgdef"
	_ "github.com/nats-io/nats-server/v2/server"
	_ "github.com/nats-io/nats.go/jetstream"
	_ "github.com/pressly/goose/v3"
	_ "github.com/robfig/cron/v3"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/santhosh-tekuri/jsonschema/v6"
	_ "github.com/slack-go/slack"
	_ "github.com/slack-go/slack/slacktest"
	_ "go.uber.org/goleak"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/text/encoding/charmap"
	_ "gonum.org/v1/gonum/optimize"
	_ "gonum.org/v1/gonum/stat"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "modernc.org/sqlite"
	_ "pgregory.net/rapid"
)

func main() {}
