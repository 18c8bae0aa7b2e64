-- Posts the bodies of a file in turn, one a line; counts answers by status and how long each took.
local bodies = {}
for line in io.lines(os.getenv("BODIES")) do bodies[#bodies + 1] = line end
local at = 0
wrk.headers["Content-Type"] = "application/json"

request = function()
   at = at % #bodies + 1
   return wrk.format("POST", "/v1/plan", nil, bodies[at])
end

local threads = {}
setup = function(thread) table.insert(threads, thread) end
init = function() good, shed, other = 0, 0, 0 end
response = function(status)
   if status == 200 then good = good + 1 elseif status == 503 then shed = shed + 1 else other = other + 1 end
end
done = function(summary)
   local good, shed, other = 0, 0, 0
   for _, t in ipairs(threads) do
      good, shed, other = good + t:get("good"), shed + t:get("shed"), other + t:get("other")
   end
   local e = summary.errors
   io.write(string.format("RESULT good=%d shed=%d other=%d connect=%d read=%d write=%d timeout=%d\n",
      good, shed, other, e.connect, e.read, e.write, e.timeout))
end
