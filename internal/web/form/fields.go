package form

import (
	"regexp"
	"strconv"
	"strings"
)

var indexed = regexp.MustCompile(`^([a-z_.]+)\[([0-9]+)\](.*)$`)

// Field is the field of the form that a value of the spec comes from, by its
// path; empty where the form does not ask it.
func (g Got) Field(path string) string {
	if name, ok := single[path]; ok {
		return name
	}
	m := indexed.FindStringSubmatch(path)
	if m == nil {
		return ""
	}
	i, err := strconv.Atoi(m[2])
	if err != nil {
		return ""
	}
	rest := strings.TrimPrefix(m[3], ".")
	switch m[1] {
	case "pads":
		if i < len(g.rowOf) {
			if f, ok := ofPad[strings.SplitN(rest, "[", 2)[0]]; ok {
				return At(f, g.rowOf[i])
			}
		}
	case "stock.deliveries":
		if i < len(g.delivered) && rest != "" {
			return At(rest, g.delivered[i])
		}
	case "site.shade":
		return "shade_hours"
	case "stock.covers":
		if i < len(g.covers) {
			return g.covers[i]
		}
	case "form_sets":
		if f, ok := map[string]string{"name": "set", "count": "count", "cells": "cells"}[rest]; ok {
			return At(f, i)
		}
	}
	return ""
}

// ofPad are the fields of a row by those of a pad.
var ofPad = map[string]string{"name": "letter", "length_m": "length", "width_m": "width", "thickness_m": "thick",
	"edge_thickness_m": "edge", "x_m": "gap", "y_m": "gap", "after": "order", "form_set": "letter"}

// single are the fields that stand once.
var single = map[string]string{
	"name":                      "name",
	"latitude":                  "place",
	"longitude":                 "place",
	"time_zone":                 "place",
	"elevation_m":               "place",
	"language":                  "language",
	"mix.bag_kg":                "bag",
	"mix.yield_l_per_bag":       "yield",
	"mix.water_l_per_bag":       "water",
	"mix.water_l_per_bag_max":   "water_max",
	"mix.price_per_bag":         "price",
	"mix.cement":                "cement",
	"mix.strength_28d_mpa":      "strength",
	"mix.water_temperature_c":   "water_temp",
	"mix.bag_temperature_c":     "bag_temp",
	"mix.admixture":             "admixture",
	"mix.water_used_l_per_bag":  "water_used",
	"mix.slump_mm":              "slump",
	"mix.label_initial_set_min": "label_set",
	"mix.label_walk_on_h":       "label_walk",
	"practice.base_cover":       "base_cover",
	"practice.curing":           "curing",
	"practice.curing_days":      "curing_days",
	"site.shade":                "shade_hours",
	"waste_fraction":            "waste",
	"crew.people":               "people",
	"crew.bags_per_hour":        "rate",
	"crew.earliest_start":       "earliest",
	"crew.latest_finish":        "latest",
	"crew.days":                 "day",
	"crew.finish":               "finish",
	"crew.vehicle_payload_kg":   "payload",
	"crew.set_up_min":           "set_up",
	"crew.clean_up_min":         "clean_up",
	"crew.moves_per_bag":        "moves",
	"stock.bags_on_hand":        "on_hand",
	"stock.covers":              "plastic",
	"limits.rain_risk":          "risk",
	"alerts.evening_at":         "evening",
	"alerts.quiet_until":        "quiet",
	"alerts.lead_min":           "lead",
	"site.subgrade":             "subgrade",
	"site.morning_shade_until":  "shade",
	"site.uneven_base_m":        "hollows",
	"site.base_sand_m":          "base_sand",
	"pads":                      "across0",
	"form_sets":                 "count0",
	"address":                   "email",
}
