"""The manifests of the cluster fit the published schemas, and hold what a cluster asks for."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml

from service import __version__
from service.web.settings import PREFIX, settings_of

FOLDER = Path(__file__).parents[2] / "docker" / "kubernetes"
VERSIONS = ("1.31", "1.33", "1.35")
"""Releases of Kubernetes; the oldest has all that is used here."""
Manifest = dict[str, Any]


def manifests(folder: Path) -> list[Manifest]:
    """Every object of a folder, as its kustomization lists them."""
    kustomization = yaml.safe_load((folder / "kustomization.yaml").read_text())
    files = [folder / name for name in kustomization["resources"]]
    assert {file.name for file in files} == {
        file.name for file in folder.glob("*.yaml") if file.name != "kustomization.yaml"
    }
    return [one for file in files for one in yaml.safe_load_all(file.read_text())]


SERVING = manifests(FOLDER)
REPLANNING = manifests(FOLDER / "replan")


def of_kind(kind: str, among: list[Manifest]) -> Manifest:
    (found,) = [one for one in among if one["kind"] == kind]
    return found


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("manifest", [*SERVING, *REPLANNING], ids=lambda m: m["kind"])
def test_every_object_fits_the_schema_and_has_no_unknown_field(
    manifest: Manifest, version: str
) -> None:
    assert kubernetes_validate.validate(manifest, version, strict=True).startswith(version)


def test_a_wrong_field_is_told() -> None:
    wrong = {**of_kind("Service", SERVING), "spec": {"selektor": {}}}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(wrong, VERSIONS[0], strict=True)


@pytest.mark.parametrize(
    "pod",
    [
        of_kind("Deployment", SERVING)["spec"]["template"],
        of_kind("Job", REPLANNING)["spec"]["template"],
    ],
    ids=["serving", "replanning"],
)
def test_a_pod_may_do_nothing_that_it_need_not(pod: Manifest) -> None:
    spec = pod["spec"]
    assert spec["automountServiceAccountToken"] is False
    assert spec["securityContext"]["runAsNonRoot"] is True
    assert spec["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    (container,) = spec["containers"]
    rights = container["securityContext"]
    assert rights["readOnlyRootFilesystem"] is True
    assert rights["allowPrivilegeEscalation"] is False
    assert rights["capabilities"] == {"drop": ["ALL"]}
    assert {"cpu", "memory"} <= set(container["resources"]["requests"])
    assert "memory" in container["resources"]["limits"]


@pytest.mark.parametrize("among", [SERVING, REPLANNING], ids=["serving", "replanning"])
def test_nothing_goes_out(among: list[Manifest]) -> None:
    policy = of_kind("NetworkPolicy", among)["spec"]
    assert set(policy["policyTypes"]) == {"Ingress", "Egress"}
    assert policy["egress"] == []
    workload = next(one for one in among if one["kind"] in ("Deployment", "Job"))
    labels = workload["spec"]["template"]["metadata"]["labels"]
    assert policy["podSelector"]["matchLabels"].items() <= labels.items()


def test_the_service_is_probed_spread_and_given_time_to_drain() -> None:
    deployment = of_kind("Deployment", SERVING)["spec"]
    pod = deployment["template"]["spec"]
    (container,) = pod["containers"]
    paths = {name: container[name]["httpGet"]["path"] for name in container if "Probe" in name}
    assert paths == {
        "livenessProbe": "/livez",
        "readinessProbe": "/readyz",
        "startupProbe": "/readyz",
    }
    keys = {one["topologyKey"] for one in pod["topologySpreadConstraints"]}
    assert keys == {"kubernetes.io/hostname", "topology.kubernetes.io/zone"}
    settings = settings_of({one["name"]: one["value"] for one in container["env"]}, {})
    assert all(one["name"].startswith(PREFIX) for one in container["env"])
    needs_s = settings.drain_wait_s + settings.stop_after_s
    assert needs_s < pod["terminationGracePeriodSeconds"]
    assert deployment["strategy"]["rollingUpdate"]["maxUnavailable"] == 0
    selector = of_kind("Service", SERVING)["spec"]["selector"]
    assert selector.items() <= deployment["template"]["metadata"]["labels"].items()


def test_it_grows_by_processor_and_by_requests_in_flight_and_one_may_go_at_a_time() -> None:
    scaling = of_kind("HorizontalPodAutoscaler", SERVING)["spec"]
    resource, pods = scaling["metrics"]
    assert resource["resource"]["name"] == "cpu"
    assert pods["pods"]["metric"]["name"] == "movewright_in_flight"
    most = settings_of({}, {}).max_work
    assert float(pods["pods"]["target"]["averageValue"]) < most
    assert of_kind("PodDisruptionBudget", SERVING)["spec"]["maxUnavailable"] == 1
    assert scaling["minReplicas"] >= 2


def test_shards_back_off_each_for_itself() -> None:
    job = of_kind("Job", REPLANNING)["spec"]
    assert job["completionMode"] == "Indexed"
    assert job["backoffLimitPerIndex"] >= 1 and "backoffLimit" not in job
    (container,) = job["template"]["spec"]["containers"]
    (shards,) = [one["value"] for one in container["env"] if one["name"] == "SHARDS"]
    assert int(shards) == job["completions"]


def test_shards_of_the_job_are_those_of_the_command_line() -> None:
    (container,) = of_kind("Job", REPLANNING)["spec"]["template"]["spec"]["containers"]
    script = container["args"][0].replace("exec movewright", "echo")
    for index, shard in (("0", "1/16"), ("15", "16/16")):
        said = subprocess.run(
            [*container["command"], script],
            env={"PATH": "/bin:/usr/bin", "JOB_COMPLETION_INDEX": index, "SHARDS": "16"},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        assert said.split() == [
            *("bulk", "/screens/screens.ndjson", "--out", "/screens/plans", "--shard", shard)
        ]


@pytest.mark.parametrize("folder", [FOLDER, FOLDER / "replan"], ids=lambda f: f.name)
def test_kustomize_puts_it_together(folder: Path) -> None:
    if shutil.which("kubectl") is None:
        pytest.skip("no kubectl on this machine")
    built = subprocess.run(
        ["kubectl", "kustomize", str(folder)], capture_output=True, text=True, check=True
    ).stdout
    objects = list(yaml.safe_load_all(built))
    assert len(objects) == len(manifests(folder))
    for one in objects:
        kubernetes_validate.validate(one, VERSIONS[0], strict=True)
    assert f"image: movewright:{__version__}" in built
