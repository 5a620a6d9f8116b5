// The main job by a client that is generated from the description: set a project
// up, ask for a plan, for tomorrow and for what to buy, log what happened, and
// take the project away. Usage: node main.js ADDRESS TOKEN
import createClient from "openapi-fetch";
import type { paths } from "./api.js";

const [baseUrl, token] = process.argv.slice(2);
const { GET, POST, PATCH, DELETE } = createClient<paths>({
  baseUrl: baseUrl!,
  headers: { Authorization: `Bearer ${token}` },
});

function good<T>(what: string, answer: { data?: T; error?: { detail: string }; response: Response }): T {
  if (answer.error || answer.data === undefined) {
    throw new Error(`${what}: ${answer.response.status} ${answer.error?.detail}`);
  }
  return answer.data;
}

const made = await POST("/v1/projects", {
  body: {
    name: "Boat ramp",
    latitude: 52.52,
    longitude: 13.42,
    pads: [{ name: "A1", length_m: 1.2, width_m: 0.9, thickness_m: 0.075 }],
  },
});
const project = good("create", made);
const path = { id: project.id };
const etag = made.response.headers.get("ETag");
if (!etag || project.pads[0]?.state !== "waiting") throw new Error("a new project without its tag, or poured already");

const plan = good("plan", await GET("/v1/projects/{id}/plan", { params: { path } }));
const state: "awaiting-forecast" | "open" | "finished" = plan.state;
const next = { params: { path: { ...path, date: "tomorrow" } } };
const tomorrow = good("tomorrow", await GET("/v1/projects/{id}/mornings/{date}", next));
const verdict: "pour" | "care" | "hold" = tomorrow.verdict;
const bags: number = good("takeoff", await GET("/v1/projects/{id}/takeoff", { params: { path } })).project.bags;
const at = new Date(Date.parse(process.argv[4]!)).toISOString();
const body = { kind: "placed" as const, pad: "A1", at, bags };
const logged = good("log", await POST("/v1/projects/{id}/log", { params: { path }, body }));
const changed = good("change", await PATCH("/v1/projects/{id}", {
  params: { path, header: { "If-Match": etag } },
  body: { crew: { people: 2 } },
  headers: { "Content-Type": "application/merge-patch+json" },
}));
if (changed.crew.people !== 2 || changed.pads[0]?.state !== "placed") throw new Error("the change or the log is not there");
const refused = await POST("/v1/projects/{id}/log", { params: { path }, body: { kind: "placed", pad: "A9", at } });
if (refused.error?.errors[0]?.field !== "pad") throw new Error("a problem does not name its field");
const gone = await DELETE("/v1/projects/{id}", { params: { path } });
if (gone.response.status !== 204) throw new Error(`delete: ${gone.response.status}`);
console.log(`${state} ${verdict} ${bags} bags, entry ${logged.entry.id}`);
