package photo

import (
	"bytes"
	"encoding/binary"
)

// orientation is the EXIF orientation of a JPEG file, 1 to 8; 1, as it lies, where
// the file has none that can be read. Nothing else of EXIF is read. (TIFF 6.0
// for the directory, JEITA CP-3451 for where it lies.)
func orientation(file []byte) int {
	for at := 2; at+4 <= len(file) && file[at] == 0xff; {
		marker, length := file[at+1], int(binary.BigEndian.Uint16(file[at+2:]))
		if marker == 0xda || length < 2 || at+2+length > len(file) { // the picture itself begins
			return 1
		}
		segment := file[at+4 : at+2+length]
		if tiff, ok := bytes.CutPrefix(segment, []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return orientationOf(tiff)
		}
		at += 2 + length
	}
	return 1
}

// orientationOf looks the orientation up in the first directory of a TIFF file.
func orientationOf(tiff []byte) int {
	const tag, entryBytes = 0x0112, 12
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if string(tiff[:2]) == "II" {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(tiff[4:]))
	if at+2 > int64(len(tiff)) {
		return 1
	}
	entries := tiff[at+2:]
	for range order.Uint16(tiff[at:]) {
		if len(entries) < entryBytes {
			return 1
		}
		if order.Uint16(entries) == tag {
			if v := int(order.Uint16(entries[8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
		entries = entries[entryBytes:]
	}
	return 1
}
