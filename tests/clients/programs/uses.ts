// Calls a running service with the generated types: plan, check, review, series, bulk, refusal.
import createClient from "openapi-fetch";
import type { components, paths } from "./movewright.js";

type Screen = components["schemas"]["Screen"];

declare const process: { argv: string[] };

function sure(holds: boolean, says: string): asserts holds {
  if (!holds) throw new Error(says);
}

const api = createClient<paths, "application/json" | "application/problem+json">({ baseUrl: process.argv[2] ?? "" });

const listed = await api.GET("/v1/examples");
sure(listed.data !== undefined, "no list of examples");
const screens: Screen[] = [];
for (const item of listed.data.items) {
  const example = await api.GET("/v1/examples/{name}", { params: { path: { name: item.name } } });
  sure(example.data !== undefined, "no example");
  screens.push(example.data);
}

const verdicts: components["schemas"]["Answer"]["verdict"][] = [];
for (const body of screens) {
  const { data, error } = await api.POST("/v1/plan", { body });
  sure(error === undefined, "an example was refused");
  verdicts.push(data.verdict);
}
sure(verdicts.includes("refer") && verdicts.includes("train"), "too few verdicts");

const body = screens[screens.length - 1];
sure(body !== undefined, "no screen");
const checks = await api.POST("/v1/next-check", { body });
sure(checks.data !== undefined && checks.data.considered >= 0, "no checks");
const review = await api.POST("/v1/review", {
  body: { baseline: body, retest: body, days_between: 21 },
});
sure(review.data !== undefined && review.data.findings.length > 0, "no review");
const weeks = await api.POST("/v1/series", { body: { screen: body, weeks: 4, sessions_a_week: 2 } });
sure(weeks.data !== undefined, "no series");

const bulk = await api.POST("/v1/bulk/plan", { body: screens, parseAs: "text" });
sure(bulk.data !== undefined, "no bulk answer");
sure(bulk.data.trim().split("\n").length === screens.length + 1, "a line is missing");

const refused = await api.POST("/v1/plan", { body: { observations: [], minutes: 100000 } });
sure(refused.error !== undefined && refused.error.status === 422, "nothing was refused");
sure(refused.error.errors[0]?.pointer === "/minutes", "another pointer");
console.log(`${verdicts.length} plans`);
