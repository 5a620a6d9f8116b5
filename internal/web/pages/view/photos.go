package view

import (
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
)

// PhotoLine is one picture of an entry.
type PhotoLine struct {
	Src, Alt      string
	Width, Height int
}

// PhotoForm adds pictures to the diary.
type PhotoForm struct {
	Action string
	Pads   []string
	Pad    string
	Text   string
	How    string
	Wrong  []string
}

// Codes of pictures. Each carries the figures named beside it.
const (
	photoAlt message.Code = "photo_alt" // text
	photoHow message.Code = "photo_how" // max
)

func (s Setting) photoForm() *PhotoForm {
	if s.Barred.Log {
		return nil
	}
	f := &PhotoForm{Action: s.href("/photos"), How: s.say(photoHow, message.Count("max", pour.MostPhotos))}
	for _, p := range s.Project.Pads {
		f.Pads = append(f.Pads, p.Name)
	}
	return f
}

// photos are the pictures of an entry that are kept.
func (s Setting) photos(e pour.LogEntry, words string) (out []PhotoLine) {
	for _, id := range e.Photos {
		if i := slices.IndexFunc(s.Photos, func(p photo.Photo) bool { return p.ID == id }); i >= 0 {
			p := s.Photos[i]
			out = append(out, PhotoLine{Src: s.href("/photos/" + id), Alt: s.say(photoAlt, message.Text("text", words)),
				Width: p.Width, Height: p.Height})
		}
	}
	return out
}
