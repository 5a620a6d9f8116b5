package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"dryslot/internal/fault"
)

// quarters is a picture with a light upper left quarter, so that it tells how it is turned.
func quarters(w, h int) image.Image {
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h / 2 {
		for x := range w / 2 {
			img.SetGray(x, y, color.Gray{Y: 255})
		}
	}
	return img
}

// asJPEG writes a picture as a phone does: with its orientation, the place and the
// name of the camera in EXIF, as JEITA CP-3451 lays them out.
func asJPEG(t *testing.T, img image.Image, orientation uint16, order binary.AppendByteOrder) []byte {
	t.Helper()
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, img, nil); err != nil {
		t.Fatal(err)
	}
	mark := map[bool]string{true: "II", false: "MM"}[order.String() == "LittleEndian"]
	tiff := order.AppendUint32(order.AppendUint16([]byte(mark), 42), 8)
	tiff = order.AppendUint16(tiff, 3)
	entry := func(tag, kind uint16, count uint32) {
		tiff = order.AppendUint32(order.AppendUint16(order.AppendUint16(tiff, tag), kind), count)
	}
	entry(0x010f, 2, 12) // the maker
	tiff = order.AppendUint32(tiff, 50)
	entry(0x0112, 3, 1)
	tiff = order.AppendUint16(order.AppendUint16(tiff, orientation), 0)
	entry(0x8825, 4, 1) // where the directory of the place lies
	tiff = order.AppendUint32(order.AppendUint32(tiff, 62), 0)
	tiff = append(tiff, "PhoneMaker\x00\x00"...)
	tiff = append(tiff, "GPS 45 31 12 N 122 40 55 W"...)
	segment := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(segment)+2))...)
	return append(append(out, segment...), plain.Bytes()[2:]...)
}

func TestNothingIsKeptButWhatCanBeSeen(t *testing.T) {
	for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
		sent := asJPEG(t, quarters(80, 40), 1, order)
		if !bytes.Contains(sent, []byte("GPS 45")) || !bytes.Contains(sent, []byte("PhoneMaker")) {
			t.Fatal("the picture sent holds no place")
		}
		p, err := Clean(bytes.NewReader(sent), "photos")
		if err != nil {
			t.Fatal(err)
		}
		for _, left := range []string{"Exif", "GPS", "PhoneMaker", "45 31"} {
			if bytes.Contains(p.JPEG, []byte(left)) {
				t.Errorf("%s is left", left)
			}
		}
	}
}

// Each orientation comes out upright: the light quarter lies where the viewer of a
// phone shows it.
func TestAPictureIsTurnedUpright(t *testing.T) {
	light := [9]image.Point{1: {0, 0}, 2: {1, 0}, 3: {1, 1}, 4: {0, 1}, 5: {0, 0}, 6: {1, 0}, 7: {1, 1}, 8: {0, 1}}
	for o := uint16(1); o <= 8; o++ {
		for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
			p, err := Clean(bytes.NewReader(asJPEG(t, quarters(80, 40), o, order)), "photos")
			if err != nil {
				t.Fatal(err)
			}
			if wide := o < 5; wide != (p.Width > p.Height) || p.Width+p.Height != 120 {
				t.Errorf("%d: %d by %d", o, p.Width, p.Height)
			}
			img, err := jpeg.Decode(bytes.NewReader(p.JPEG))
			if err != nil {
				t.Fatal(err)
			}
			for _, q := range []image.Point{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
				r, _, _, _ := img.At(p.Width/4+q.X*p.Width/2, p.Height/4+q.Y*p.Height/2).RGBA()
				if bright := r > 0x8000; bright != (q == light[o]) {
					t.Errorf("%d: quarter %v is bright: %v", o, q, bright)
				}
			}
		}
	}
}

func TestALargePictureIsMadeSmaller(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, quarters(3300, 1100)); err != nil {
		t.Fatal(err)
	}
	p, err := Clean(&b, "photos")
	if err != nil || p.Width != Longest || p.Height != 533 {
		t.Errorf("%d by %d, %v", p.Width, p.Height, err)
	}
}

// claimed is the head of a PNG file that says how large it is.
func claimed(t *testing.T, w, h uint32) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, quarters(2, 2)); err != nil {
		t.Fatal(err)
	}
	out := b.Bytes()
	binary.BigEndian.PutUint32(out[16:], w)
	binary.BigEndian.PutUint32(out[20:], h)
	crc := crcOf(out[12:29])
	binary.BigEndian.PutUint32(out[29:], crc)
	return out
}

func TestWhatIsNoPictureIsRefused(t *testing.T) {
	whole := asJPEG(t, quarters(80, 40), 1, binary.BigEndian)
	for name, c := range map[string]struct {
		sent []byte
		rule string
	}{"nothing": {nil, string(NoPicture)}, "words": {[]byte("%PDF-1.7 a drawing"), string(NoPicture)},
		"a GIF": {[]byte("GIF89a\x01\x00\x01\x00"), string(NoPicture)}, "half a picture": {whole[:len(whole)/2],
			string(NoPicture)},
		"a claim": {claimed(t, 60000, 60000), string(TooLarge)}, "too long": {append(whole, make([]byte, MaxBytes)...),
			string(TooLong)}} {
		_, err := Clean(bytes.NewReader(c.sent), "photos")
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "photos") {
			t.Errorf("%s: %v", name, err)
		}
		if f := faultsOf(t, err); f != c.rule {
			t.Errorf("%s breaks the rule %s, want %s", name, f, c.rule)
		}
	}
}

// EXIF that is cut off or lies about its lengths is no EXIF.
func FuzzOrientation(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x10Exif\x00\x00II*\x00\xff\xff\xff\xff"))
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x02\xff\xe1\xff\xff"))
	f.Fuzz(func(t *testing.T, file []byte) {
		if o := orientation(file); o < 1 || o > 8 {
			t.Errorf("%d", o)
		}
	})
}

func crcOf(b []byte) uint32 { return crc32.ChecksumIEEE(b) }

// faultsOf is the code of the only rule that an error says was broken.
func faultsOf(t *testing.T, err error) string {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || len(f.Fields) != 1 {
		t.Fatalf("%v", err)
	}
	return string(f.Fields[0].Rule.Code)
}
