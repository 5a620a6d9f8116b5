// The main job by a client in Go that is generated from the description: set a
// project up, ask for a plan, for tomorrow and for what to buy, log what
// happened, and take the project away. Usage: client ADDRESS TOKEN PLACED
package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"time"

	"client/api"
)

func main() {
	if len(os.Args) != 4 {
		fmt.Fprintln(os.Stderr, "usage: client ADDRESS TOKEN PLACED")
		os.Exit(2)
	}
	line, err := mainJob(context.Background(), os.Args[1], os.Args[2], os.Args[3])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(line)
}

// good returns what was answered, or the problem's words.
func good[T any](what string, answer *T, problem *api.Problem, err error) (*T, error) {
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", what, err)
	case problem != nil:
		return nil, fmt.Errorf("%s: %d %s", what, problem.Status, problem.Detail)
	case answer == nil:
		return nil, fmt.Errorf("%s: no answer", what)
	}
	return answer, nil
}

// is reports whether a pad is in a state; a generated client takes what the
// service alone writes for a field that may be missing.
func is(p api.PadView, state api.PadViewState) bool { return p.State != nil && *p.State == state }

func mainJob(ctx context.Context, address, token, placed string) (string, error) {
	at, err := time.Parse(time.RFC3339, placed)
	if err != nil {
		return "", fmt.Errorf("PLACED: %w", err)
	}
	c, err := api.NewClientWithResponses(address,
		api.WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
			r.Header.Set("Authorization", "Bearer "+token)
			return nil
		}))
	if err != nil {
		return "", err
	}
	made, err := c.CreateProjectWithResponse(ctx, nil, api.SpecInput{
		Name: "Boat ramp", Latitude: 52.52, Longitude: 13.42,
		Pads: []api.PadInput{{Name: "A1", LengthM: 1.2, WidthM: 0.9, ThicknessM: 0.075}},
	})
	if err != nil {
		return "", fmt.Errorf("create: %w", err)
	}
	project, err := good("create", made.JSON201, made.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return "", err
	}
	if project.Id == nil || project.Latitude != 52.52 || !is(project.Pads[0], api.PadViewStateWaiting) {
		return "", errors.New("the new project has no id, lies elsewhere, or is poured already")
	}
	line, err := ask(ctx, c, *project.Id, at)
	if err != nil {
		return "", err
	}
	if err := change(ctx, c, *project.Id, made.HTTPResponse.Header.Get("ETag")); err != nil {
		return "", err
	}
	gone, err := c.DeleteProjectWithResponse(ctx, *project.Id)
	if err != nil || gone.StatusCode() != http.StatusNoContent {
		return "", fmt.Errorf("delete: %v %w", gone, err)
	}
	return line, nil
}

// ask reads the plan, tomorrow and what to buy, and logs a pad as placed.
func ask(ctx context.Context, c *api.ClientWithResponses, id string, at time.Time) (string, error) {
	plans, err := c.GetPlanWithResponse(ctx, id, nil)
	if err != nil {
		return "", fmt.Errorf("plan: %w", err)
	}
	plan, err := good("plan", plans.JSON200, plans.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return "", err
	}
	mornings, err := c.GetMorningWithResponse(ctx, id, "tomorrow", nil)
	if err != nil {
		return "", fmt.Errorf("tomorrow: %w", err)
	}
	tomorrow, err := good("tomorrow", mornings.JSON200, mornings.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return "", err
	}
	takeoffs, err := c.GetTakeoffWithResponse(ctx, id)
	if err != nil {
		return "", fmt.Errorf("takeoff: %w", err)
	}
	takeoff, err := good("takeoff", takeoffs.JSON200, takeoffs.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return "", err
	}
	pad, bags := "A1", float64(takeoff.Project.Bags)
	entry := api.LogOrderInput{Kind: api.LogOrderInputKindPlaced, Pad: &pad, At: at, Bags: &bags}
	logs, err := c.LogWithResponse(ctx, id, nil, entry)
	if err != nil {
		return "", fmt.Errorf("log: %w", err)
	}
	logged, err := good("log", logs.JSON201, logs.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return "", err
	}
	unknown := "A9"
	entry.Pad = &unknown
	refused, err := c.LogWithResponse(ctx, id, nil, entry)
	if err != nil {
		return "", fmt.Errorf("log: %w", err)
	}
	if p := refused.ApplicationproblemJSONDefault; p == nil || len(p.Errors) == 0 || p.Errors[0].Field != "pad" {
		return "", errors.New("a problem does not name its field")
	}
	return fmt.Sprintf("%s %s %v bags, entry %v", plan.State, tomorrow.Verdict, bags, logged.Entry.Id), nil
}

// change takes a second person on, by merge patch.
func change(ctx context.Context, c *api.ClientWithResponses, id, etag string) error {
	people := 2
	changes, err := c.ChangeProjectWithApplicationMergePatchPlusJSONBodyWithResponse(ctx, id,
		&api.ChangeProjectParams{IfMatch: etag}, api.ProjectViewPatch{Crew: &api.CrewPatch{People: &people}})
	if err != nil {
		return fmt.Errorf("change: %w", err)
	}
	changed, err := good("change", changes.JSON200, changes.ApplicationproblemJSONDefault, nil)
	if err != nil {
		return err
	}
	if changed.Crew.People != 2 || !is(changed.Pads[0], api.PadViewStatePlaced) {
		return errors.New("the change or the log is not there")
	}
	return nil
}
