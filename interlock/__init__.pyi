from interlock.interface import Checklist as Checklist
from interlock.interface import DescriptionError as DescriptionError
from interlock.interface import Hold as Hold
from interlock.interface import InterlockError as InterlockError
from interlock.interface import Proof as Proof
from interlock.interface import RequestError as RequestError
from interlock.interface import Result as Result
from interlock.interface import analyse_contacts as analyse_contacts
from interlock.interface import analyse_failures as analyse_failures
from interlock.interface import audit_procedure as audit_procedure
from interlock.interface import compare_holds as compare_holds
from interlock.interface import defer as defer
from interlock.interface import load_hold as load_hold
from interlock.interface import load_text as load_text
from interlock.interface import make_checklist as make_checklist
from interlock.interface import make_questions as make_questions
from interlock.interface import make_test as make_test
from interlock.interface import prove_family as prove_family
from interlock.interface import prove_fleet as prove_fleet
from interlock.interface import prove_hold as prove_hold
from interlock.interface import repair_hold as repair_hold
from interlock.interface import teach as teach

__all__: list[str]
__version__: str
