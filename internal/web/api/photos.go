package api

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/accounts"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
	"dryslot/internal/web"
)

// photoView is a photo of a project's log, without the picture.
type photoView struct {
	ID     string `json:"id"`
	Width  int    `json:"width" minimum:"1"`
	Height int    `json:"height" minimum:"1"`
}

type photoIn struct {
	InProject
	PID string `path:"pid" doc:"The photo's id"`
}

func (s *server) photoRoutes() {
	const path = "/v1/projects/{id}/photos"
	handle(s, route{method: http.MethodPost, path: path, id: "add-photo",
		summary: "Keep a photo that log entries may show, without place, time and camera",
		status:  http.StatusCreated, takes: []string{web.PhotoType, "image/png"}, headers: []string{"Location"},
		role: accounts.RoleCrew}, s.addPhoto)
	handle(s, route{method: http.MethodGet, path: path, id: "list-photos", summary: "The photos that are kept"},
		s.listPhotos)
	handle(s, route{method: http.MethodDelete, path: path + "/{pid}", id: "delete-photo",
		summary: "Delete a photo that no log entry shows; 409 where one does, a voided one too: it goes with its " +
			"project. A photo counts among those that a project may have until it is deleted",
		status: http.StatusNoContent, role: accounts.RoleOwner}, s.deletePhoto)
	op := huma.Operation{Method: http.MethodGet, Path: path + "/{pid}", OperationID: "get-photo",
		Summary: "A photo as it is kept: upright, its longer side at most 1600 pixels", SkipValidateParams: true,
		Metadata: map[string]any{neededRole: accounts.RoleViewer},
		Responses: map[string]*huma.Response{"200": {Description: "OK",
			Content: map[string]*huma.MediaType{web.PhotoType: binaryBody()}}}}
	s.PacksItself(op.Method, "/v1/projects/:id/photos/:pid")
	huma.Register(s.api, op, func(ctx context.Context, in *photoIn) (*sent, error) {
		out, err := s.photo(ctx, callOf(ctx), in)
		if err == nil {
			return out, nil
		}
		p := web.ProblemOf(err)
		if p.Status >= http.StatusInternalServerError {
			s.Log.ErrorContext(ctx, "a request failed", "route", "GET "+op.Path, "error", err)
		}
		return nil, p
	})
	op.Responses["200"].Headers = headers("Cache-Control")
	op.Responses["default"] = s.problemResponse()
}

func (s *server) photo(ctx context.Context, c *call, in *photoIn) (*sent, error) {
	var kept photo.Photo
	err := s.inProject(ctx, c, in.ID, func(
		ctx context.Context, tx web.Tx, p pour.Project, _ *time.Location,
	) (err error) {
		kept, err = tx.Photo(ctx, p.ID, in.PID)
		return err
	})
	return &sent{Status: http.StatusOK, ContentType: web.PhotoType, Body: kept.JPEG}, err
}

func (s *server) addPhoto(ctx context.Context, c *call, in *InProject) (*reply[photoView], error) {
	// Reading a picture costs much: not for a project that is not there.
	err := s.inProject(ctx, c, in.ID, func(context.Context, web.Tx, pour.Project, *time.Location) error { return nil })
	if err != nil {
		return nil, err
	}
	read, err := s.ReadPhoto(ctx, bytes.NewReader(c.body), "body")
	if err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[photoView], error) {
		p, _, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		id, err := s.services.Projects.KeepPhoto(ctx, c.account, p.ID, read)
		return &reply[photoView]{Status: http.StatusCreated, Body: &photoView{id, read.Width, read.Height},
			Location: "/v1/projects/" + p.ID + "/photos/" + id}, err
	})
}

func (s *server) deletePhoto(ctx context.Context, c *call, in *photoIn) (*reply[struct{}], error) {
	err := s.inProject(ctx, c, in.ID, func(context.Context, web.Tx, pour.Project, *time.Location) error { return nil })
	if err == nil {
		err = s.services.Projects.DeletePhoto(ctx, c.account, in.ID, in.PID)
	}
	return &reply[struct{}]{}, err
}

// listPhotos answers all at once: their number is bounded.
func (s *server) listPhotos(ctx context.Context, c *call, in *InProject) (*reply[list[photoView]], error) {
	views := []photoView{}
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, _ *time.Location) error {
		all, err := tx.Photos(ctx, p.ID)
		for _, x := range all {
			views = append(views, photoView{x.ID, x.Width, x.Height})
		}
		return err
	})
	return &reply[list[photoView]]{Body: newList(views, "")}, err
}
