package api

import "strings"

// forms returns the contract's form of each answer.
func forms() map[string]string {
	const (
		kinds = "started|formed|placing|placed|finished|stripped|lost|skipped|note|covered|uncovered|rain_began|" +
			"rain_ended|rained_on|inspected|rated|undone"
		said    = `{"code":"text","figures":{"...":"any"}}`
		caution = `{"code":"text","severity":"note|watch|act","text":"text","+text_data":[` + said + `],
			"figure":{"?":"","name":"text","value":"number","limit":"number"},"+share":"number?","source":"text",
			"+source_data":` + said + `}`
		whatIf = `{"people*":"int","earliest_start*":"clock","water_temperature_c*":"number",
			"bag_temperature_c*":"number","cover*":"text","base_cover*":"text",
			"base_wetted*":"bool","windbreak*":"bool","shade*":"bool","evaporation_film*":"bool","fogging*":"bool",
			"admixture*":"text","pads*":["text"],
			"leave_out*":{"date":"date","pads":["text"]}}`
		spread = `{"?":"","low":"number","high":"number"}`
		option = `{"?":"","date":"date","change":"text","+change_data":` + said +
			`,"verdict":"pour|care|hold","score":"int?","chance_unharmed":"number?"}`
		padDay = `{"pad":"text","place_start":"time","place_end":"time","finish_start":"time","finish_end":"time",
			"+finish_from":"time?","+finish_until":"time?","initial_set":"time?","final_set":"time?",
			"strip_from":"time?","walk_from":"time?","+cured_by":"time?","+cover":"text","chance_unharmed":"number",
			"chance_dry":"number","chance_inspect":"number",
			"+chance_inspect_rain":"number","+chance_inspect_drying":"number","+uncover_from":"time?",
			"+chip_chance":"number","+reason":"text",
			"+reason_data":` + said + `}`
		note = `"feed":"text","issued_at":"time?","fetched_at":"time","age_min":"int","members":"int",
			"attribution":"text"`
		plan = `"version":"int?","made_at":"time","because":"text","+because_data":` + said +
			`,"state":"awaiting-forecast|open|finished",
			"pours":[{"date":"date","start":"time","+end":"time","pads":["text"],"chance_unharmed":"number",
			"bags":"int","water_l":"number","+covers":["text"],"why":"text",
			"+covers_data":[` + said + `],"+why_data":` + said + `}],
			"unplaced":[{"pad":"text","why":"text","+why_data":` + said + `,"+better":` + option +
			`}],"finish":{"likely":"date?","nine_in_ten":"date?"},
			"solver":{"method":"text","+method_data":` + said +
			`,"proved_optimal":"bool","gap":"number","elapsed_ms":"number"}`
		amounts = `"volume_l":"number","bags":"int","water_l":"number","water_l_max":"number","weight_kg":"number",
			"cost":"number?","+sand_l":"number?","+sand_kg":"number?"`
		carrying = `"trips":"int?","moved_kg":"number","+moved_t_per_person_hour":"number"`
		entry    = `{"+id":"text","kind":"` + kinds + `",
			"pads":["text"],"pad":"text","at":"time","+recorded_at":"time","+confirmed":"bool","bags":"number?",
			"water_l":"number?","minutes":"number?","rain_mm":"number?",
			"cover":"text","covered":"bool?","result":"text","entry":"text","text":"text","+by":"text",
			"photos":["text"],
			"+ratings":{"?":"","cracks":"text","chipped_edges":"text","scaling":"text","colour":"text"},
			"+set_times":[{"pad":"text","initial_min":"number","final_min":"number","known":"bool"}],
			"+effects":[{"pad":"text","code":"text","state":"text","inspect":"text","why":"text",
				"+why_data":[{"code":"text","figures":{"...":"any"}}]}]}`
		recipient = `{"+id":"text","kind":"email|webhook|push","address":"text","+alerts":["text"],
			"+created_at":"time","+state":"unconfirmed|active|stopped"}`
		alert = `{"key":"text","kind":"text","date":"date","recipient":"text","state":"due|retrying|sent|failed",
			"tries":"int","reason":"text?","+reason_data":{"?":"","code":"text","figures":{"...":"any"}},"text":"text",
			"+text_data":[` + said + `],
			"+subject":"text","+subject_data":[` + said +
			`],"+due_at":"time?","+next_try_at":"time?","+settled_at":"time?","+urgent":"bool","+of_use_until":"time?"}`
		photo      = `{"id":"text","width":"int","height":"int"}`
		membership = `{"project":"text","role":"owner|crew|viewer","name":"text","since":"time"}`
		invitation = `{"id":"text","role":"owner|crew|viewer","created_at":"time","expires_at":"time","url*":"text"}`
		token      = `{"id":"text","name":"text","created_at":"time?","token*":"text"}`
		morning    = `{"date":"date","verdict":"pour|care|hold","score":"int?",
			"window":{"?":"","start":"time","latest_start":"time","+last_placed":"time","+end":"time"},
			"daylight":{"+case":"text","first_light":"time?","sunrise":"time?","sunset":"time?","last_light":"time?"},
			"pads_possible":"int",
			"+stand_by*":{"up_to":"int","likely":"int","pads_lost":"number","gaps":[{"from":"time","until":"time"}],
			"text":"text","text_data":[` + said + `]},
			"parts":{"rain":{"chance_unharmed":"number?","chance_dry":"number?","first_wet_hour":"time?"},
				"temperature":{"suitability":"number?","air_min_c":"number?","air_max_c":"number?","mix_c":"number?",
				"slab_min_c":"number?","frost_safe_at":"time?",
					"+air_min_range":` + spread + `,"+air_max_range":` + spread + `,"+mix_range":` + spread +
			`,"+slab_min_range":` + spread + `,
					"+corner_min_range":` + spread + `},
				"evaporation":{"peak_kg_m2_h":"number?","at":"time?","+peak_range":` + spread +
			`},"daylight":{"share_of_work_in_light":"number?"}},
			"pads":[` + padDay + `],"cautions":[` + caution + `],
			"remedies":[{"change":"text","+change_data":` + said +
			`,"verdict":"pour|care|hold","score":"int","+pads":"int","+chance_unharmed":"number?","+what_if":` +
			whatIf + `}],
			"+better":` + option + `,
			"forecast":{"?":"",` + note + `},"+reason":"text","+reason_data":` + said + `,
			"+chart*":{"hours":[{"time":"time","rain_chance":"number?","air_c":"number?","slab_c":"number?",
			"evap_kg_m2_h":"number?"}]}}`
		padSpec = `"name":"text","length_m":"number","width_m":"number","thickness_m":"number",
			"edge_thickness_m":"number?","x_m":"number","y_m":"number",
			"form_set":"text?","after":[{"pad":"text","until":"placed|finished|stripped|cured"}]`
		project = `{"id":"text","revision":"int","calendar_url":"text","name":"text","latitude":"number",
			"longitude":"number","elevation_m":"number?",
			"time_zone":"text","units":"us|metric","language":"text?",
			"mix":{"bag_kg":"number","yield_l_per_bag":"number","water_l_per_bag":"number",
			"water_l_per_bag_max":"number","cement_fraction":"number?",
				"cement":"general|rapid|slow","strength_28d_mpa":"number","bag_temperature_c":"number?",
				"water_temperature_c":"number?","price_per_bag":"number?",
				"+admixture":"none|retarder|accelerator","+label_initial_set_min":"number?",
				"+label_walk_on_h":"number?","+water_used_l_per_bag":"number?","+slump_mm":"number?"},
			"+practice":{"base_cover":"none|plastic|blanket","base_wetted":"bool","windbreak":"bool","shade":"bool",
			"evaporation_film":"bool","fogging":"bool",
				"curing":"cover|compound|wet|none","curing_days":"number?"},
			"crew":{"people":"int","bags_per_hour":"number","strike_off_min_per_m2":"number",
			"finish_min_per_m2":"number","finish":"broom|trowel","set_up_min":"number",
				"clean_up_min":"number","earliest_start":"clock","latest_finish":"clock",
				"days":["mon|tue|wed|thu|fri|sat|sun"],"vehicle_payload_kg":"number","moves_per_bag":"number"},
			"stock":{"bags_on_hand":"int?","+counted_at":"time?","deliveries":[{"date":"date","bags":"int"}],
			"covers":[{"kind":"plastic|burlap|blanket","pads":"int","resistance_m2k_w":"number?",
			"+area_m2":"number?"}]},
			"limits":{"rain_risk":"number","lost_pad_days":"number","harm":"number?"},
			"alerts":{"lead_min":"int","evening_at":"clock","quiet_until":"clock"},
			"site":{"subgrade":"sand|gravel|clay|soil|insulated","wind_factor":"number","morning_shade_until":"clock?",
				"afternoon_shade_from":"clock?","base_covered":"bool","+shade":[{"from":"clock","until":"clock"}],
				"+uneven_base_m":"number","+base_sand_m":"number?"},
			"form_sets":[{"name":"text","count":"int","cells":"int"}],"waste_fraction":"number",
			"pads":[{` + padSpec +
			`,"state":"waiting|formed|placed|finished|stripped|cured|lost","bags":"int","+placed_at":"time?",
				"+finished_at":"time?",
				"+stripped_at":"time?","+cured_at":"time?","+lost_at":"time?","+losses":"int","+inspect":"text?",
				"+inspect_data":{"?":"","code":"text","figures":{"...":"any"}}}]}`
		why = `{"code":"text","figures":{"...":"any"},"text":"text"}`
		now = `{"at":"time","day":"off|planned|under_way|done",
			"advice":{"do":"go_on|start_later|wait|cover|stop|none","+pads":["text"],"until":"time?","why":` + why +
			`,"recheck_at":"time?"},
			"next":[{"do":"set_up|form|place|finish|cover|uncover|damp|strip|clean_up","pads":["text"],"from":"time",
			"until":"time?","late":"bool","why":` + why + `}],
			"rain":{"seen":"bool","next_hours":[{"time":"time","chance":"number","mm":"number"}],
			"reaches":[{"pad":"text","chance":"number"}]},
			"+hazards":[{"threat":"drying|gusts|thunder|earlier","pads":["text"],"from":"time","until":"time?","why":` +
			why + `}],
			"questions":[{"ask":"text","pads":["text"],"assumed_at":"time?","+text":"text","+text_data":{"code":"text",
			"figures":{"...":"any"}},"+entries":["text"],"+undone":"text"}],
			"pads":[{"pad":"text","phase":"waiting|formed|placing|soft|setting|hard|stripped|cured|lost",
			"covered":"bool","inspect":"bool","assumed":"bool","initial_set":"time?","final_set":"time?"}]}`
		rule = `{"code":"text","+hold":"bool","+water_c":"number?","severity":"note|watch|act","text":"text",
			"+text_data":[` + said + `],
			"figure":{"?":"","name":"text","value":"number","limit":"number"},"source":"text",
			"+source_data":` + said + `}`
	)
	listOf := func(form string) string { return `{"items":[` + form + `],"next_cursor":"text?"}` }
	none := func(form string) string { // a forecast before the first one
		return strings.NewReplacer(`"feed":"text"`, `"feed":"text?"`, `"fetched_at":"time"`, `"fetched_at":"time?"`,
			`"age_min":"int"`, `"age_min":"int?"`,
			`"members":"int"`, `"members":"int?"`, `"attribution":"text"`, `"attribution":"text?"`).Replace(form)
	}
	const hours = `,"+last_try":"time?","next_try":"time?","trouble":"text?","+left_out":["text"],
		"+trouble_data":[{"code":"text","figures":{"...":"any"}}],
		"+short_range":{"?":"","feed":"text?","issued_at":"time?","fetched_at":"time?","until":"time?",
		"attribution":"text?",
			"last_try":"time?","next_try":"time?","trouble":"text?","trouble_data":[{"code":"text",
			"figures":{"...":"any"}}]},"hours":[{"time":"time","air_c":"number?","humidity_pct":"number?",
			"dew_point_c":"number?","wind_m_s":"number?",
		"gust_m_s":"number?","cloud_pct":"number?","shortwave_w_m2":"number?","rain_mm":"number?",
		"rain_chance":"number?","+thunder_chance":"number?","+snow_mm":"number?",
		"sources":{"...":"text"}}],
		"+verification":{"?":"","of":"text","against":"text","leads":[{"lead_h":"int","pairs":"int","brier":"number?",
		"skill":"number?","bias":"number?","gap":"number?",
			"everywhere":{"pairs":"int","brier":"number?","skill":"number?","bias":"number?","gap":"number?"},
			"recalibrated":"bool","learned_from":"text?",
			"held_back":{"?":"","pairs":"int","brier_before":"number","brier_after":"number"}}]}}`
	return map[string]string{
		"project": project, "projects": listOf(project),
		"morning": morning, "mornings": listOf(morning),
		"forecast": `{` + note + hours, "no forecast": none(`{` + note + hours),
		"plan": `{` + plan + `}`, "plans": listOf(`{` + plan + `}`),
		"made plan": `{` + plan + `,"+changes":["text"],"+changes_data":[` + said + `],"+mornings":[` + morning +
			`]}`,
		"compared plan": `{` + plan + `,"+against":"int?","changes":["text"],"+changes_data":[` + said + `]}`,
		"log answer": `{"entry":` + entry + `,"plan":{` + plan +
			`},"changes":["text"],"+assumed":[{"pad":"text","kind":"text","at":"time"}],
			"+changes_data":[{"code":"text","figures":{"...":"any"}}],
			"+questions":[{"ask":"text","text":"text","text_data":{"code":"text","figures":{"...":"any"}},
			"pads":["text"],"entries":["text"],"undone":"text","assumed_at":"time?"}]}`,
		"log": listOf(entry), "now": now,
		"takeoff": `{"project":{` + amounts + `,` + carrying +
			`,"water_cement_ratio":"number?","water_cement_ratio_max":"number?",
			"+strength_loss_mpa_at_water_max":{"?":"","low":"number","high":"number"},"+bags_to_place":"int",
			"bags_short":"int","+short_from":"date?","+cautions":[` + rule + `]},
			"pours":[{"date":"date","+pads":["text"],` + amounts + `,` + carrying + `}],"pads":[{"pad":"text",` +
			amounts + `,"+cautions":[` + rule + `]}]}`,
		"recipient":  strings.Replace(recipient, `"+created_at":"time"`, `"+created_at":"time","secret*":"text"`, 1),
		"recipients": listOf(recipient),
		"push":       `{"public_key":"text?"}`,
		"token":      token,
		"account": `{"id":"text","mail":"text?","tokens":[` + token + `],
			"sessions":[{"id":"text","browser":"text","created_at":"time","expires_at":"time"}],
			"member_of":[` + membership + `],
			"holds":{"projects":"number","log_entries":"number","photos":"number","plans":"number",
			"recipients":"number","alerts":"number","members":"number"}}`,
		"photo": photo, "photos": listOf(photo),
		"membership":  membership,
		"members":     listOf(`{"id":"text","role":"owner|crew|viewer","name":"text","since":"time"}`),
		"invitation":  invitation,
		"invitations": listOf(invitation),
		"alert":       alert,
		"alerts":      listOf(alert),
		"evaporation": `{"rate_kg_m2_h":"number","method":"text","caution":"text?","+caution_data":[` + said +
			`],"+low_kg_m2_h":"number","+high_kg_m2_h":"number","+uno_kg_m2_h":"number?"}`,
		"mix": `{"mix_c":"number","water_c":"number","caution":"text?","+caution_data":[` + said +
			`],"+allowed":"bool"}`,
		"set": `{"initial_h":"number","final_h":"number","finish_from_h":"number","finish_until_h":"number"}`,
		"problem": `{"type":"text","title":"text","status":"int","detail":"text","detail_data":{"code":"text",
			"figures":{"...":"any"}},"errors":[{"field":"text","value":"text","rule":"text","rule_data":{"code":"text",
			"figures":{"...":"any"}}}]}`,
	}
}
