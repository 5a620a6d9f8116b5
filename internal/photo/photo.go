// Package photo owns what becomes of a picture before it is kept: it is read,
// turned upright, made smaller and written again, so that nothing is left of it
// but what can be seen. Place, time and camera, which phones write into a
// picture's file, are not among that.
//
//	p, err := photo.Clean(file)
package photo

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // read too
	"io"

	"golang.org/x/image/draw"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Limits of a picture.
const (
	// Longest is the longer side of what is kept, in pixels: a crack of a
	// millimetre shows in a pad that fills the picture.
	Longest = 1600
	// MaxBytes is the longest file taken, in bytes: phones write 2 to 8 MB.
	MaxBytes = 12 << 20
	// MaxPixels bounds the memory that reading takes, which a short file may
	// claim to need (judgement: twice what most phones write).
	MaxPixels = 26_000_000
	quality   = 82 // of JPEG, 1 to 100
)

// Codes of what is wrong with a picture; package say words them.
const (
	Refused   message.Code = "photo_refused"
	NoPicture message.Code = "photo_no_picture"
	TooLong   message.Code = "photo_too_long"  // max: in megabytes
	TooLarge  message.Code = "photo_too_large" // max: in megapixels
)

// Photo is a picture as it is kept.
type Photo struct {
	ID            string // given by the store
	Width, Height int    // pixels
	JPEG          []byte
}

// Clean reads a picture in JPEG or PNG and returns it as it is kept. What is no
// such picture, or is too large, is fault.Invalid at the field.
func Clean(r io.Reader, field string) (Photo, error) {
	refuse := func(value string, code message.Code, figures ...message.Figure) error {
		var bad fault.List
		bad.Break(field, value, fault.RuleOf(code, figures...))
		return bad.Broken(Refused)
	}
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return Photo{}, fault.Of(fault.Unreadable, Refused).By(err)
	}
	if len(data) > MaxBytes {
		return Photo{}, refuse("", TooLong, message.Count("max", MaxBytes>>20))
	}
	size, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || size.Width <= 0 || size.Height <= 0 {
		return Photo{}, refuse("", NoPicture)
	}
	if size.Width > MaxPixels/size.Height {
		return Photo{}, refuse("", TooLarge, message.Count("max", MaxPixels/1_000_000))
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return Photo{}, refuse("", NoPicture)
	}
	turn := 1
	if kind == "jpeg" {
		turn = orientation(data)
	}
	img = upright(smaller(img), turn)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: quality}); err != nil {
		return Photo{}, fault.Of(fault.Invalid, Refused).By(err)
	}
	return Photo{Width: img.Bounds().Dx(), Height: img.Bounds().Dy(), JPEG: out.Bytes()}, nil
}

// smaller draws a picture, on white where it is transparent, no longer than
// Longest.
func smaller(img image.Image) *image.RGBA {
	from := img.Bounds()
	w, h := from.Dx(), from.Dy()
	if long := max(w, h); long > Longest {
		w, h = max(1, w*Longest/long), max(1, h*Longest/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(out, out.Bounds(), img, from, draw.Over, nil)
	return out
}

// upright turns a picture by its EXIF orientation, 1 to 8 (JEITA CP-3451,
// "Orientation": where row 0 and column 0 lie).
func upright(img *image.RGBA, orientation int) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	// to gives where a pixel goes.
	var to func(x, y int) (int, int)
	switch orientation {
	case 2:
		to = func(x, y int) (int, int) { return w - 1 - x, y }
	case 3:
		to = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 4:
		to = func(x, y int) (int, int) { return x, h - 1 - y }
	case 5:
		to = func(x, y int) (int, int) { return y, x }
	case 6:
		to = func(x, y int) (int, int) { return h - 1 - y, x }
	case 7:
		to = func(x, y int) (int, int) { return h - 1 - y, w - 1 - x }
	case 8:
		to = func(x, y int) (int, int) { return y, w - 1 - x }
	default:
		return img
	}
	out := image.NewRGBA(img.Rect)
	if orientation >= 5 {
		out = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			i, j := to(x, y)
			out.SetRGBA(i, j, img.RGBAAt(x, y))
		}
	}
	return out
}
