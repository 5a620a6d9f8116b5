package pages

import (
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
	"dryslot/internal/web"
	"dryslot/internal/web/pages/view"
)

// photoField is the name of the form's field that holds files.
const photoField = "photos"

// uploads sets the manners of a page whose form holds files: nothing is read of it
// before it is known who sends it.
func (p *pages) uploads(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		setHeaders(c.Response().Header())
		if err := p.origin.Check(c.Request()); err != nil {
			return p.trouble(c, web.NewProblem(http.StatusForbidden, message.New(FormFromElsewhere)))
		}
		answerScript(c)
		return next(c)
	}
}

// addPhotos keeps the pictures of a form and the entry that shows them.
func (p *pages) addPhotos(c echo.Context) error {
	kind, _, err := mime.ParseMediaType(c.Request().Header.Get("Content-Type"))
	if err != nil || kind != echo.MIMEMultipartForm {
		return p.trouble(c, web.NewProblem(http.StatusUnsupportedMediaType, message.New(FormUnread),
			web.AtFault("Content-Type", web.Cut(c.Request().Header.Get("Content-Type")), web.MediaType,
				message.Names("allowed", []string{echo.MIMEMultipartForm}))))
	}
	c.Request().Body = http.MaxBytesReader(c.Response(), c.Request().Body, pour.MostPhotos*photo.MaxBytes+maxForm)
	return p.onProject(c, func(b board) error {
		entry := pour.LogEntry{Kind: pour.EntryNote, At: b.Now}
		photos, err := p.readPhotos(c, &entry)
		entry.By = acts(c).Name
		if err == nil {
			_, err = p.services.Projects.RecordPhotos(c.Request().Context(), account(c), b.Project.ID, entry, photos)
		}
		if err == nil {
			return c.Redirect(http.StatusSeeOther, "/p/"+b.Project.ID+"/log")
		}
		problem := web.ProblemOf(err)
		if problem.Status >= http.StatusInternalServerError || problem.Status == http.StatusRequestEntityTooLarge {
			return p.trouble(c, err)
		}
		page := view.NewLog(b.Setting, newestFirst(b.Log), nil)
		page.PhotoForm.Pad, page.PhotoForm.Text, page.PhotoForm.Wrong = entry.Pad, entry.Text,
			inWords(problem, b.Reader)
		return p.show(c, problem.Status, page)
	})
}

// readPhotos reads a form part by part, so that one picture at a time is in memory.
func (p *pages) readPhotos(c echo.Context, e *pour.LogEntry) (out []photo.Photo, err error) {
	parts, err := c.Request().MultipartReader()
	if err != nil {
		return nil, fault.Of(fault.Unreadable, FormUnread).By(err)
	}
	for {
		part, err := parts.NextPart()
		switch {
		case errors.Is(err, io.EOF) && len(out) == 0:
			return nil, fault.Of(fault.Invalid, photo.Refused).At(photoField, "", fault.RuleOf(photo.NoPicture))
		case errors.Is(err, io.EOF):
			return out, nil
		case err != nil:
			return nil, unreadable(err)
		}
		if part.FormName() != photoField {
			if err := p.readText(part, e); err != nil {
				return nil, unreadable(err)
			}
			continue
		}
		if part.FileName() == "" {
			continue // a field left empty
		}
		if len(out) == pour.MostPhotos {
			return nil, fault.Of(fault.Invalid, photo.Refused).At(photoField, "", fault.AtMost(pour.MostPhotos))
		}
		one, err := p.s.ReadPhoto(c.Request().Context(), part, photoField)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
}

// readText reads a field of words. The id and the time of the tap are the script's:
// photos may have waited for signal, and may be sent again.
func (p *pages) readText(part *multipart.Part, e *pour.LogEntry) error {
	b, err := io.ReadAll(io.LimitReader(part, maxForm))
	switch text := string(b); part.FormName() {
	case "pad":
		e.Pad = text
	case "text":
		e.Text = text
	case "id":
		e.ID = text
	case "tapped":
		e.At = p.timeOf(text)
	}
	return err
}

// unreadable is a form that can't be read to its end.
func unreadable(err error) error {
	var long *http.MaxBytesError
	if errors.As(err, &long) {
		return web.NewProblem(http.StatusRequestEntityTooLarge,
			message.New(FormTooLong, message.Count("max", int(long.Limit))))
	}
	return fault.Of(fault.Unreadable, FormUnread).By(err)
}

// onePhoto shows a picture, which never changes under its address.
func (p *pages) onePhoto(c echo.Context) error {
	ctx := c.Request().Context()
	var kept photo.Photo
	err := p.store.InAccount(ctx, account(c), func(ctx context.Context, tx web.Tx) (err error) {
		kept, err = tx.Photo(ctx, c.Param("id"), c.Param("photo"))
		return err
	})
	if err != nil {
		return p.trouble(c, err)
	}
	c.Response().Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	return c.Blob(http.StatusOK, web.PhotoType, kept.JPEG)
}
