"""docs/kubernetes against the published schema, and docker-compose.yml: the same processes."""

import json
import re
from collections.abc import Iterator
from typing import Any

import kubernetes_validate
import pytest
import yaml

from tests.tooling.listing import ROOT
from tests.tooling.test_compose import SERVICES

FOLDER = ROOT / "docs" / "kubernetes"
Manifest = dict[str, Any]


def manifests() -> Iterator[Manifest]:
    for path in sorted(FOLDER.glob("*.yaml")):
        yield from yaml.safe_load_all(path.read_text())


ALL = list(manifests())
NAMED = {(each["kind"], each["metadata"]["name"]): each for each in ALL}
OURS = ("web", "worker", "worker-long", "beat", "migrate")


def pods() -> Iterator[tuple[str, Manifest]]:
    """What each workload says of its pods, by the workload's name."""
    for (_, name), each in NAMED.items():
        spec = each.get("spec", {})
        spec = spec.get("jobTemplate", {}).get("spec", spec)
        if "template" in spec:
            yield name, spec["template"]["spec"]


PODS = dict(pods())
CONTAINERS = [
    (f"{name}: {container['name']}", container)
    for name, pod in PODS.items()
    for container in (*pod.get("initContainers", []), *pod["containers"])
]


def main_of(name: str) -> Manifest:
    """The one container of a workload that is what it is for."""
    (container,) = PODS[name]["containers"]
    assert container["name"] == name
    return dict(container)


def told(container: Manifest) -> dict[str, str]:
    """The variables of a container's own, as they stand."""
    return {each["name"]: json.dumps(each) for each in container.get("env", [])}


@pytest.mark.parametrize(
    "manifest", ALL, ids=lambda each: f"{each['kind']} {each['metadata']['name']}"
)
def test_each_fits_the_published_schema(manifest: Manifest) -> None:
    kubernetes_validate.validate(manifest, kubernetes_validate.latest_version(), strict=True)


def test_the_schema_would_find_a_mistake() -> None:
    broken = json.loads(json.dumps(NAMED["Deployment", "web"]))
    broken["spec"]["template"]["spec"]["containers"][0]["livenesProbe"] = {}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(broken, kubernetes_validate.latest_version(), strict=True)


def test_the_processes_are_those_of_compose() -> None:
    assert {*PODS} == {*OURS, "backup"}
    for name in ("worker", "worker-long", "beat"):
        assert main_of(name)["args"] == SERVICES[name]["command"]
        assert "command" not in main_of(name), "the deploy checks come first"
    assert not {"args", "command"} & {*main_of("web")}, "the image's own"
    assert main_of("migrate")["args"] == SERVICES["migrate"]["command"]
    for name in OURS:
        assert main_of(name)["image"] == "portaledger"
    assert main_of("backup")["image"] == SERVICES["database"]["image"]


def test_what_compose_tells_a_process_is_told_here() -> None:
    settings = NAMED["ConfigMap", "settings"]["data"]
    secrets = {"SECRET_KEY", "DATABASE_URL", "REDIS_URL", "METRICS_TOKEN", "EMAIL_HOST_PASSWORD"}
    for variable in secrets:
        assert f"from-literal={variable}=" in (FOLDER / "README.md").read_text()
    for name in ("web", "worker", "worker-long", "beat", "migrate"):
        read = [next(iter(each)) for each in main_of(name)["envFrom"]]
        assert read == ["configMapRef", "secretRef"]
        expected = {*SERVICES[name]["environment"]} - secrets - {*settings}
        # Bounds that the settings have by themselves.
        expected -= {"REQUESTS_OF_A_SIGN_IN", "REQUESTS_OF_A_CLIENT"}
        assert expected <= {*told(main_of(name))}, name


def test_no_secret_stands_in_a_file() -> None:
    assert not [each for each in ALL if each["kind"] == "Secret"]
    assert not re.findall(r"PASSWORD: *\S|SECRET_KEY: *\S|://[^\s/]+:[^\s/]+@", "".join(
        path.read_text() for path in FOLDER.glob("*.yaml")
    ))  # fmt: skip


def test_only_migrations_and_backups_know_the_owner_of_the_tables() -> None:
    knowing = {name for name, pod in PODS.items() if "OWNER_DATABASE_URL" in json.dumps(pod)}
    assert knowing == {"migrate", "backup"}


def test_only_workers_have_the_key() -> None:
    assert {name for name, pod in PODS.items() if "keys" in json.dumps(pod.get("volumes"))} == {
        "worker",
        "worker-long",
    }


@pytest.mark.parametrize(("name", "container"), CONTAINERS, ids=[name for name, _ in CONTAINERS])
def test_a_container_gains_nothing_and_is_bounded(name: str, container: Manifest) -> None:
    """As the restricted profile of the Pod Security Standards asks, by the namespace."""
    assert container["securityContext"] == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }
    assert {"cpu", "memory"} <= {*container["resources"]["requests"]}
    assert "memory" in container["resources"]["limits"]


@pytest.mark.parametrize("name", sorted(PODS))
def test_a_pod_is_not_root_and_asks_the_cluster_for_nothing(name: str) -> None:
    pod = PODS[name]
    user = re.search(r"^USER (\d+)", (ROOT / "Dockerfile").read_text(), re.M)
    assert user
    assert pod["securityContext"]["runAsUser"] == int(user[1])
    assert pod["securityContext"]["runAsNonRoot"] is True
    assert pod["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    assert pod["automountServiceAccountToken"] is False


def test_probes_ask_what_there_is() -> None:
    web = main_of("web")
    asked = {
        kind: web[f"{kind}Probe"]["httpGet"]["path"]
        for kind in ("startup", "liveness", "readiness")
    }
    # Without a database a process is not restarted, only not asked.
    assert asked == {"startup": "/livez", "liveness": "/livez", "readiness": "/readyz"}
    assert "$(POD_IP)" in told(web)["ALLOWED_HOSTS"], "probes name the pod by its address"
    order = [*told(web)]
    assert order.index("POD_IP") < order.index("ALLOWED_HOSTS") > order.index("SITE_NAME")
    for name in ("worker", "worker-long", "beat"):
        command = main_of(name)["livenessProbe"]["exec"]["command"]
        # Compose takes the shell by itself, and doubles dollars.
        assert command[-1] == SERVICES[name]["healthcheck"]["test"][-1].replace("$$", "$")


def test_what_is_named_exists() -> None:
    for name, pod in PODS.items():
        for volume in pod["volumes"]:
            claim = volume.get("persistentVolumeClaim", {}).get("claimName")
            assert claim is None or ("PersistentVolumeClaim", claim) in NAMED, name
        assert ("ServiceAccount", pod["serviceAccountName"]) in NAMED
    for kind, name in NAMED:
        if kind in {"PodDisruptionBudget", "Service"}:
            assert ("Deployment", name) in NAMED
    assert {each["metadata"].get("namespace", "portaledger") for each in ALL} == {"portaledger"}
    assert NAMED["Deployment", "beat"]["spec"]["replicas"] == 1
    assert NAMED["Deployment", "beat"]["spec"]["strategy"] == {"type": "Recreate"}


def test_a_volume_several_pods_write_to_can_be() -> None:
    assert NAMED["PersistentVolumeClaim", "keys"]["spec"]["accessModes"] == ["ReadWriteMany"]


def test_processes_wait_for_migrations_and_end_in_peace() -> None:
    for name in ("web", "worker", "worker-long", "beat"):
        (first,) = PODS[name]["initContainers"]
        assert "migrate --check" in first["args"][0]
    for name in ("worker", "worker-long"):
        grace = SERVICES[name]["stop_grace_period"]
        assert (grace, PODS[name]["terminationGracePeriodSeconds"]) == ("1m", 60)
