package fetch

import (
	"math"
	"net/url"
	"strconv"
	"strings"

	"dryslot/internal/fault"
)

// Base checks the base address of a feed, set by the environment key, and
// returns it without a slash at its end.
func Base(key, address string) (string, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") || u.RawQuery != "" ||
		u.Fragment != "" {
		var bad fault.List
		bad.Add(key, address, "must be an http or https address without a query")
		return "", bad.Err("the feed's address can't be used")
	}
	return strings.TrimSuffix(address, "/"), nil
}

// Coordinate writes degrees with at most four decimals: more are refused by
// MET Norway and by the US NWS, and say more of a place than a grid can use.
func Coordinate(deg float64) string {
	return strconv.FormatFloat(math.Round(deg*1e4)/1e4+0, 'f', -1, 64)
}
