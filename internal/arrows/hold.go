//go:build hold

package arrows

import (
	_ "github.com/arran4/golang-ical"
	_ "github.com/chromedp/chromedp"
	_ "github.com/danielgtaylor/huma/v2/adapters/humaecho"
	_ "github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/pgxpool"
	_ "github.com/jackc/pgx/v5/stdlib"
	_ "github.com/kelvins/sunrisesunset"
	_ "github.com/labstack/echo/v4"
	_ "github.com/pressly/goose/v3"
	_ "github.com/ringsaturn/tzf"
	_ "github.com/riverqueue/river"
	_ "github.com/riverqueue/river/riverdriver/riverpgxv5"
	_ "github.com/riverqueue/river/rivermigrate"
	_ "github.com/robfig/cron/v3"
	_ "github.com/standard-webhooks/standard-webhooks/libraries/go"
	_ "github.com/wneessen/go-mail"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/sync/singleflight"
	_ "gonum.org/v1/gonum/mathext"
	_ "gonum.org/v1/gonum/stat/distuv"
)
