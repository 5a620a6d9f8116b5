package web

import (
	"context"
	"io"

	"dryslot/internal/photo"
)

// PhotoType is the media type of a photo as it is kept.
const PhotoType = "image/jpeg"

// mostReading is how many photos are read at a time, by all together: each takes
// up to some 200 MB of memory while it is.
const mostReading = 2

// ReadPhoto waits for its turn, and reads a photo of a field as it is to be kept; the
// errors are those of photo.Clean, or of a context that ended.
func (s *Server) ReadPhoto(ctx context.Context, r io.Reader, field string) (photo.Photo, error) {
	select {
	case s.reading <- struct{}{}:
	case <-ctx.Done():
		return photo.Photo{}, ctx.Err()
	}
	defer func() { <-s.reading }()
	return photo.Clean(r, field)
}
