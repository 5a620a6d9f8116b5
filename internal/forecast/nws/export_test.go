package nws

// DecodePoint reads the answer for a point, and returns the path of its grid cell.
func DecodePoint(body []byte) (path string, err error) {
	g, err := decodePoint(body)
	return g.path(), err
}
